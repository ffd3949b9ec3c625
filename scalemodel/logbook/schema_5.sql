-- Version 5: priors that the logbook adopts.

-- The ledger names its kinds in a CHECK, which SQLite cannot change: it is laid anew under the same name, line for line.
-- What refers to it is asked for again when all is done. Its triggers and its index go with the old table.

PRAGMA defer_foreign_keys = ON;

CREATE TABLE entry_before (
    number INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    entered_at TEXT NOT NULL,
    replaces INTEGER,
    reason TEXT NOT NULL,
    key TEXT
) STRICT;

INSERT INTO entry_before SELECT number, kind, entered_at, replaces, reason, key FROM entry;

DROP TABLE entry;

CREATE TABLE entry (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    kind TEXT NOT NULL CHECK (kind IN (
        'boiler', 'site', 'water', 'water_test', 'fill', 'use', 'inspection', 'descale', 'prices', 'absence',
        'adoption')),
    entered_at TEXT NOT NULL,                                -- UTC, ISO 8601
    replaces INTEGER UNIQUE REFERENCES entry (number) CHECK (replaces < number),
    reason TEXT NOT NULL DEFAULT '',
    key TEXT CHECK (length(key) BETWEEN 1 AND 80)
) STRICT;

INSERT INTO entry SELECT number, kind, entered_at, replaces, reason, key FROM entry_before ORDER BY number;

DROP TABLE entry_before;

CREATE UNIQUE INDEX entry_key ON entry (key);

CREATE TRIGGER entry_replaces_current BEFORE INSERT ON entry WHEN NEW.replaces IS NOT NULL BEGIN
    SELECT RAISE(ABORT, 'an entry can replace only one of its own kind')
    WHERE NEW.kind IS NOT (SELECT kind FROM entry WHERE number = NEW.replaces);
    SELECT RAISE(ABORT, 'an entry that was struck cannot be replaced')
    WHERE EXISTS (SELECT 1 FROM strike WHERE entry = NEW.replaces);
END;

CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;

CREATE TABLE adoption (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    date TEXT NOT NULL CHECK (date(date, '+0 days') IS date),
    priors TEXT NOT NULL,                                    -- TOML, as in a priors file
    note TEXT NOT NULL
) STRICT;

CREATE TRIGGER adoption_kind BEFORE INSERT ON adoption BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'adoption' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER adoption_no_update BEFORE UPDATE ON adoption BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER adoption_no_delete BEFORE DELETE ON adoption BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
