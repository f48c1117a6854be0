-- Everything that evidence rests on is in the chain of commits: the ledger says
-- of each kind of entry how many there are and their digest, each version of a
-- case file carries a link that covers the one before it, and a commit covers
-- the ledger, all days' digests and how far the outbox had come.
CREATE TABLE ledger (
  kind TEXT PRIMARY KEY,
  n INTEGER NOT NULL,
  digest BLOB NOT NULL
) WITHOUT ROWID;
ALTER TABLE case_file ADD COLUMN link BLOB;
ALTER TABLE commits ADD COLUMN days BLOB;    -- NULL: made before there was a ledger
ALTER TABLE commits ADD COLUMN ledger BLOB;
ALTER TABLE commits ADD COLUMN posted INTEGER NOT NULL DEFAULT 0;
ALTER TABLE commits ADD COLUMN sent INTEGER NOT NULL DEFAULT 0;
