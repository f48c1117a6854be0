-- What is still to be copied to another engine, one row a commit in the order
-- of commits, and what that engine would not take. Sealed days whose content
-- lies there alone keep their digest here (day.sealed = 3).
CREATE TABLE outbox (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  n INTEGER NOT NULL,       -- readings in this row
  total INTEGER NOT NULL,   -- readings up to and with this row, ever
  entries BLOB NOT NULL
);

CREATE TABLE refused (
  id INTEGER PRIMARY KEY,
  kind INTEGER NOT NULL,    -- 0 a reading, 1 one kept aside
  logger INTEGER NOT NULL,
  at INTEGER NOT NULL,      -- Unix ms; of kind 1 the id in aside
  why TEXT NOT NULL,
  UNIQUE (kind, logger, at)
);
