-- A block lies in pieces of which four fill a page, so that pages are full; -1
-- says that it is of the first format, and still to be written anew.
ALTER TABLE block ADD COLUMN pieces INTEGER NOT NULL DEFAULT -1;
CREATE INDEX block_old ON block (id) WHERE pieces < 0;

CREATE TABLE piece (
  id INTEGER PRIMARY KEY,   -- 64 times the block's, and on
  data BLOB NOT NULL
);
