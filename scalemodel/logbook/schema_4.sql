-- Version 4: what a grade of a boiler is of, whose it is and when it was retired; what a boiler, a site or a water is
-- called since; imports.

ALTER TABLE boiler ADD COLUMN graded TEXT CHECK (graded IN ('whole', 'patch'));
ALTER TABLE boiler ADD COLUMN owner TEXT NOT NULL DEFAULT '';
ALTER TABLE boiler ADD COLUMN owner_address TEXT NOT NULL DEFAULT '';
ALTER TABLE boiler ADD COLUMN retired_on TEXT CHECK (date(retired_on, '+0 days') IS retired_on);

-- A record holds the first name that a boiler, a site or a water had, for good; what it is called since stands here,
-- and the last line of each counts.

CREATE TABLE naming (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    kind TEXT NOT NULL CHECK (kind IN ('boiler', 'site', 'water')),
    boiler TEXT NOT NULL CHECK ((kind = 'site') = (boiler <> '')), -- the first name of a site's boiler
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 80),       -- its first name, which its records hold
    called TEXT NOT NULL CHECK (length(called) BETWEEN 1 AND 80),
    since TEXT NOT NULL CHECK (date(since, '+0 days') IS since),
    named_at TEXT NOT NULL,                                  -- UTC, ISO 8601
    reason TEXT NOT NULL
) STRICT;

-- An import, and the entries that came from it. One that is entered once more after it was struck is an import too.

CREATE TABLE import (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    imported_at TEXT NOT NULL,                               -- UTC, ISO 8601
    source TEXT NOT NULL CHECK (source <> ''),
    backup TEXT NOT NULL,                                    -- where the logbook was copied to; blank if it was empty
    repeats INTEGER REFERENCES import (number) CHECK (repeats < number)
) STRICT;

CREATE TABLE imported (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    import INTEGER NOT NULL REFERENCES import (number)
) STRICT;

ALTER TABLE strike ADD COLUMN import INTEGER REFERENCES import (number); -- the import that was struck as a whole

CREATE INDEX imported_by_import ON imported (import);

CREATE TRIGGER naming_no_update BEFORE UPDATE ON naming BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER naming_no_delete BEFORE DELETE ON naming BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER import_no_update BEFORE UPDATE ON import BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER import_no_delete BEFORE DELETE ON import BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER imported_no_update BEFORE UPDATE ON imported BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER imported_no_delete BEFORE DELETE ON imported BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
