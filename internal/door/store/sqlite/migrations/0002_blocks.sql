-- Days that no longer change are sealed into one compressed block each. A day
-- is either rows or a block, never both.
ALTER TABLE day ADD COLUMN sealed INTEGER NOT NULL DEFAULT 0;  -- 0 rows, 1 block, 2 rows that stay rows
CREATE INDEX day_open ON day (day) WHERE sealed = 0;

CREATE TABLE block (
  id INTEGER PRIMARY KEY,
  logger INTEGER NOT NULL,
  day INTEGER NOT NULL,
  n INTEGER NOT NULL,
  crc INTEGER NOT NULL,
  data BLOB NOT NULL,
  UNIQUE (logger, day)
);
