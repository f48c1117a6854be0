-- The raw record: one row a reading, with a check value in the row and a digest
-- a day, so that a changed, added or missing reading is found.
CREATE TABLE store (name TEXT PRIMARY KEY, value BLOB NOT NULL) WITHOUT ROWID;

CREATE TABLE logger (
  id INTEGER PRIMARY KEY,
  case_id TEXT NOT NULL,
  name TEXT NOT NULL,
  n INTEGER NOT NULL,       -- readings kept
  first INTEGER NOT NULL,   -- Unix ms
  last INTEGER NOT NULL,
  aside INTEGER NOT NULL,   -- readings kept aside
  UNIQUE (case_id, name)
);

CREATE TABLE reading (
  logger INTEGER NOT NULL,
  at INTEGER NOT NULL,      -- Unix ms
  rec BLOB NOT NULL,
  PRIMARY KEY (logger, at)
) WITHOUT ROWID;

CREATE TABLE aside (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  logger INTEGER NOT NULL,
  at INTEGER NOT NULL,
  rec BLOB NOT NULL
);
CREATE INDEX aside_at ON aside (logger, at);

CREATE TABLE day (
  logger INTEGER NOT NULL,
  day INTEGER NOT NULL,     -- days since 1970-01-01 UTC
  n INTEGER NOT NULL,
  digest BLOB NOT NULL,
  aside_n INTEGER NOT NULL,
  aside_digest BLOB NOT NULL,
  changed INTEGER NOT NULL, -- Unix ms of the last change
  PRIMARY KEY (logger, day)
) WITHOUT ROWID;

-- The last commits, each head covering the one before it.
CREATE TABLE commits (
  slot INTEGER PRIMARY KEY,
  seq INTEGER NOT NULL,
  at INTEGER NOT NULL,
  readings INTEGER NOT NULL,
  head BLOB NOT NULL
);

-- Every version of every case file: who changed what, and when.
CREATE TABLE case_file (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  case_id TEXT NOT NULL,
  at INTEGER NOT NULL,
  by TEXT NOT NULL,
  etag TEXT NOT NULL,
  file BLOB                 -- NULL: the case was removed
);
CREATE INDEX case_file_case ON case_file (case_id, id);

CREATE TABLE reject (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  at INTEGER NOT NULL,
  case_id TEXT NOT NULL,
  logger TEXT NOT NULL,
  source TEXT NOT NULL,
  line INTEGER NOT NULL,
  reason TEXT NOT NULL,
  detail TEXT NOT NULL,
  payload BLOB NOT NULL,
  size INTEGER NOT NULL,
  crc INTEGER NOT NULL
);
CREATE INDEX reject_case ON reject (case_id, id);
CREATE TABLE reject_count (reason TEXT PRIMARY KEY, n INTEGER NOT NULL, dropped INTEGER NOT NULL) WITHOUT ROWID;

CREATE TABLE heard (
  case_id TEXT NOT NULL,
  logger TEXT NOT NULL,
  n INTEGER NOT NULL,
  first INTEGER NOT NULL,
  last INTEGER NOT NULL,
  PRIMARY KEY (case_id, logger)
) WITHOUT ROWID;

CREATE TABLE state (
  kind TEXT NOT NULL,
  key TEXT NOT NULL,
  at INTEGER NOT NULL,
  blob BLOB NOT NULL,
  crc INTEGER NOT NULL,
  PRIMARY KEY (kind, key)
);
