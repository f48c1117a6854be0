-- What is still to be copied to another engine, in the order of arrival, and
-- what that engine would not take. Sealed days whose content lies there alone
-- keep their digest here (day.sealed = 3).
CREATE TABLE outbox (
  seq INTEGER PRIMARY KEY AUTOINCREMENT,
  kind INTEGER NOT NULL,    -- 0 a reading, 1 one kept aside, 2 a whole day
  logger INTEGER NOT NULL,
  at INTEGER NOT NULL       -- Unix ms; of kind 1 the id in aside; of kind 2 the day
);

CREATE TABLE refused (
  seq INTEGER PRIMARY KEY,
  kind INTEGER NOT NULL,
  logger INTEGER NOT NULL,
  at INTEGER NOT NULL,
  why TEXT NOT NULL
);
