-- Version 3: a key of its own a record, so that a form that is sent twice is stored once; photographs of looks.

ALTER TABLE entry ADD COLUMN key TEXT CHECK (length(key) BETWEEN 1 AND 80);
CREATE UNIQUE INDEX entry_key ON entry (key);

-- A photograph is held once, under the hash of its file, and named by every entry that it belongs to: an amended look
-- names those of the look that it replaces.

CREATE TABLE photograph (
    sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
    width INTEGER NOT NULL CHECK (width > 0),                -- pixels
    height INTEGER NOT NULL CHECK (height > 0),
    jpeg BLOB NOT NULL CHECK (length(jpeg) BETWEEN 1 AND 1000000)
) STRICT;

CREATE TABLE look_photograph (
    entry INTEGER NOT NULL REFERENCES entry (number),
    place INTEGER NOT NULL CHECK (place > 0),                -- 1 is the first of the look
    sha256 TEXT NOT NULL REFERENCES photograph (sha256),
    PRIMARY KEY (entry, place),
    UNIQUE (entry, sha256)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER look_photograph_kind BEFORE INSERT ON look_photograph BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'inspection' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;

CREATE TRIGGER photograph_no_update BEFORE UPDATE ON photograph BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER photograph_no_delete BEFORE DELETE ON photograph BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER look_photograph_no_update BEFORE UPDATE ON look_photograph BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER look_photograph_no_delete BEFORE DELETE ON look_photograph BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
