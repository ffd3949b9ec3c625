-- The logbook, version 1: a ledger of entries, one typed table a kind, and the names they share.
--
-- Nothing is ever changed or deleted: a correction is a new entry that replaces an old one, and a
-- strike stands beside the entry that it strikes. An entry is current if nothing replaces it and
-- nothing strikes it. The checks below are the last line of defence; the sensible range of each
-- field, and what records may stand beside each other, is held by the program and said in words.

CREATE TABLE entry (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    kind TEXT NOT NULL CHECK (kind IN (
        'boiler', 'site', 'water', 'water_test', 'fill', 'use', 'inspection', 'descale', 'prices', 'absence')),
    entered_at TEXT NOT NULL,                                -- UTC, ISO 8601
    replaces INTEGER UNIQUE REFERENCES entry (number) CHECK (replaces < number),
    reason TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE strike (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    struck_at TEXT NOT NULL,                                 -- UTC, ISO 8601
    reason TEXT NOT NULL CHECK (reason <> '')
) STRICT;

-- Names that records refer to. A name stays known when the entry that brought it is struck.

CREATE TABLE boiler_name (
    boiler TEXT PRIMARY KEY CHECK (length(boiler) BETWEEN 1 AND 80)
) STRICT, WITHOUT ROWID;

CREATE TABLE site_name (
    boiler TEXT NOT NULL REFERENCES boiler_name (boiler),
    site TEXT NOT NULL CHECK (length(site) BETWEEN 1 AND 80),
    PRIMARY KEY (boiler, site)
) STRICT, WITHOUT ROWID;

CREATE TABLE water_name (
    water TEXT PRIMARY KEY CHECK (length(water) BETWEEN 1 AND 80)
) STRICT, WITHOUT ROWID;

-- One table a kind; the columns are those of the CSV files.

CREATE TABLE boiler (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL REFERENCES boiler_name (boiler),
    volume_l REAL NOT NULL CHECK (volume_l > 0),
    temperature_c REAL NOT NULL CHECK (temperature_c BETWEEN 0 AND 130),
    installed_on TEXT NOT NULL CHECK (date(installed_on, '+0 days') IS installed_on),
    area_cm2 REAL CHECK (area_cm2 > 0),
    steam_share REAL NOT NULL CHECK (steam_share BETWEEN 0 AND 1),
    start TEXT NOT NULL CHECK (start IN ('clean', 'unknown')),
    threshold_grade INTEGER NOT NULL CHECK (threshold_grade BETWEEN 1 AND 4),
    tolerance REAL NOT NULL CHECK (tolerance > 0 AND tolerance < 1),
    note TEXT NOT NULL
) STRICT;

CREATE TABLE site (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL,
    site TEXT NOT NULL,
    reference INTEGER NOT NULL CHECK (reference IN (0, 1)),
    relative_deposit REAL CHECK (relative_deposit > 0),
    relative_log_sd REAL CHECK (relative_log_sd > 0),
    look_cost REAL CHECK (look_cost >= 0),
    note TEXT NOT NULL,
    FOREIGN KEY (boiler, site) REFERENCES site_name (boiler, site)
) STRICT;

CREATE TABLE water (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    water TEXT NOT NULL REFERENCES water_name (water),
    cost_per_litre REAL CHECK (cost_per_litre >= 0),
    note TEXT NOT NULL
) STRICT;

CREATE TABLE water_test (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    water TEXT NOT NULL REFERENCES water_name (water),
    date TEXT NOT NULL CHECK (date(date, '+0 days') IS date),
    tds_mg_l REAL CHECK (tds_mg_l >= 0),
    tds_factor REAL CHECK (tds_factor > 0),
    conductivity_us_cm REAL CHECK (conductivity_us_cm >= 0),
    hardness REAL CHECK (hardness >= 0),
    hardness_unit TEXT CHECK (hardness_unit IN ('mg/L', 'mmol/L', 'dH', 'fH', 'e', 'gpg')),
    calcium REAL CHECK (calcium >= 0),
    calcium_unit TEXT CHECK (calcium_unit IN ('mg/L', 'mmol/L', 'dH', 'fH', 'e', 'gpg')),
    alkalinity REAL CHECK (alkalinity >= 0),
    alkalinity_unit TEXT CHECK (alkalinity_unit IN ('mg/L', 'mmol/L', 'dH', 'fH', 'e', 'gpg')),
    ph REAL CHECK (ph BETWEEN 0 AND 14),
    temperature_c REAL CHECK (temperature_c BETWEEN 0 AND 130),
    kit TEXT CHECK (kit IN ('meter', 'drops', 'laboratory')),
    CHECK (coalesce(tds_mg_l, conductivity_us_cm, hardness, calcium, alkalinity, ph) IS NOT NULL),
    CHECK (tds_factor IS NULL OR tds_mg_l IS NOT NULL),
    CHECK ((hardness IS NULL) = (hardness_unit IS NULL)),
    CHECK ((calcium IS NULL) = (calcium_unit IS NULL)),
    CHECK ((alkalinity IS NULL) = (alkalinity_unit IS NULL))
) STRICT;

CREATE TABLE fill (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL REFERENCES boiler_name (boiler),
    from_date TEXT NOT NULL CHECK (date(from_date, '+0 days') IS from_date),
    water TEXT NOT NULL REFERENCES water_name (water)
) STRICT;

CREATE TABLE use (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL REFERENCES boiler_name (boiler),
    from_date TEXT NOT NULL CHECK (date(from_date, '+0 days') IS from_date),
    to_date TEXT NOT NULL CHECK (date(to_date, '+0 days') IS to_date),
    litres REAL CHECK (litres >= 0),
    drinks REAL CHECK (drinks >= 0),
    litres_per_drink REAL CHECK (litres_per_drink > 0),
    meter_from_l REAL CHECK (meter_from_l >= 0),
    meter_to_l REAL CHECK (meter_to_l >= 0),
    CHECK (from_date <= to_date),
    CHECK ((litres IS NOT NULL) + (drinks IS NOT NULL) + (meter_from_l IS NOT NULL) = 1),
    CHECK ((meter_from_l IS NULL) = (meter_to_l IS NULL)),
    CHECK (meter_from_l <= meter_to_l),
    CHECK (litres_per_drink IS NULL OR drinks IS NOT NULL)
) STRICT;

CREATE TABLE inspection (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL,
    date TEXT NOT NULL CHECK (date(date, '+0 days') IS date),
    site TEXT NOT NULL,
    grade_low INTEGER NOT NULL CHECK (grade_low BETWEEN 0 AND 4),
    grade_high INTEGER NOT NULL CHECK (grade_high BETWEEN grade_low AND 4),
    method TEXT NOT NULL CHECK (method IN ('eye', 'mirror', 'camera', 'glance')),
    inspector TEXT NOT NULL,
    after_descale INTEGER NOT NULL CHECK (after_descale IN (0, 1)),
    thickness_um REAL CHECK (thickness_um > 0),
    note TEXT NOT NULL,
    FOREIGN KEY (boiler, site) REFERENCES site_name (boiler, site)
) STRICT;

CREATE TABLE descale (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL REFERENCES boiler_name (boiler),
    date TEXT NOT NULL CHECK (date(date, '+0 days') IS date),
    scope TEXT NOT NULL CHECK (scope IN ('full', 'partial')),
    acid TEXT NOT NULL,
    acid_g REAL CHECK (acid_g > 0),
    scale_recovered_g REAL CHECK (scale_recovered_g > 0),
    note TEXT NOT NULL
) STRICT;

CREATE TABLE prices (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL REFERENCES boiler_name (boiler),
    from_date TEXT NOT NULL CHECK (date(from_date, '+0 days') IS from_date),
    descale_materials REAL CHECK (descale_materials >= 0),
    descale_hours REAL CHECK (descale_hours >= 0),
    hour_cost REAL CHECK (hour_cost >= 0),
    descale_wear REAL CHECK (descale_wear >= 0),
    strip_down REAL CHECK (strip_down >= 0),
    cartridge_cost REAL CHECK (cartridge_cost >= 0),
    cartridge_litres REAL CHECK (cartridge_litres > 0)
) STRICT;

CREATE TABLE absence (
    entry INTEGER PRIMARY KEY REFERENCES entry (number),
    boiler TEXT NOT NULL REFERENCES boiler_name (boiler),
    from_date TEXT NOT NULL CHECK (date(from_date, '+0 days') IS from_date),
    to_date TEXT NOT NULL CHECK (date(to_date, '+0 days') IS to_date),
    note TEXT NOT NULL,
    CHECK (from_date < to_date)
) STRICT;

CREATE INDEX site_by_boiler ON site (boiler);
CREATE INDEX water_test_by_water ON water_test (water, date);
CREATE INDEX fill_by_boiler ON fill (boiler, from_date);
CREATE INDEX fill_by_water ON fill (water);
CREATE INDEX use_by_boiler ON use (boiler, from_date);
CREATE INDEX inspection_by_boiler ON inspection (boiler, date);
CREATE INDEX descale_by_boiler ON descale (boiler, date);
CREATE INDEX prices_by_boiler ON prices (boiler, from_date);
CREATE INDEX absence_by_boiler ON absence (boiler, from_date);

-- A successor is of the same kind, and of an entry that is still current; a strike too.

CREATE TRIGGER entry_replaces_current BEFORE INSERT ON entry WHEN NEW.replaces IS NOT NULL BEGIN
    SELECT RAISE(ABORT, 'an entry can replace only one of its own kind')
    WHERE NEW.kind IS NOT (SELECT kind FROM entry WHERE number = NEW.replaces);
    SELECT RAISE(ABORT, 'an entry that was struck cannot be replaced')
    WHERE EXISTS (SELECT 1 FROM strike WHERE entry = NEW.replaces);
END;

CREATE TRIGGER strike_current BEFORE INSERT ON strike BEGIN
    SELECT RAISE(ABORT, 'an entry that was replaced cannot be struck')
    WHERE EXISTS (SELECT 1 FROM entry WHERE replaces = NEW.entry);
END;

CREATE TRIGGER boiler_kind BEFORE INSERT ON boiler BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'boiler' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER site_kind BEFORE INSERT ON site BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'site' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER water_kind BEFORE INSERT ON water BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'water' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER water_test_kind BEFORE INSERT ON water_test BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'water_test' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER fill_kind BEFORE INSERT ON fill BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'fill' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER use_kind BEFORE INSERT ON use BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'use' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER inspection_kind BEFORE INSERT ON inspection BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'inspection' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER descale_kind BEFORE INSERT ON descale BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'descale' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER prices_kind BEFORE INSERT ON prices BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'prices' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;
CREATE TRIGGER absence_kind BEFORE INSERT ON absence BEGIN
    SELECT RAISE(ABORT, 'entry of another kind')
    WHERE 'absence' IS NOT (SELECT kind FROM entry WHERE number = NEW.entry);
END;

-- Nothing is changed, nothing is deleted.

CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER strike_no_update BEFORE UPDATE ON strike BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER strike_no_delete BEFORE DELETE ON strike BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER boiler_name_no_update BEFORE UPDATE ON boiler_name BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER boiler_name_no_delete BEFORE DELETE ON boiler_name BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER site_name_no_update BEFORE UPDATE ON site_name BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER site_name_no_delete BEFORE DELETE ON site_name BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER water_name_no_update BEFORE UPDATE ON water_name BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER water_name_no_delete BEFORE DELETE ON water_name BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER boiler_no_update BEFORE UPDATE ON boiler BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER boiler_no_delete BEFORE DELETE ON boiler BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER site_no_update BEFORE UPDATE ON site BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER site_no_delete BEFORE DELETE ON site BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER water_no_update BEFORE UPDATE ON water BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER water_no_delete BEFORE DELETE ON water BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER water_test_no_update BEFORE UPDATE ON water_test BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER water_test_no_delete BEFORE DELETE ON water_test BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER fill_no_update BEFORE UPDATE ON fill BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER fill_no_delete BEFORE DELETE ON fill BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER use_no_update BEFORE UPDATE ON use BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER use_no_delete BEFORE DELETE ON use BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER inspection_no_update BEFORE UPDATE ON inspection BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER inspection_no_delete BEFORE DELETE ON inspection BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER descale_no_update BEFORE UPDATE ON descale BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER descale_no_delete BEFORE DELETE ON descale BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER prices_no_update BEFORE UPDATE ON prices BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER prices_no_delete BEFORE DELETE ON prices BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER absence_no_update BEFORE UPDATE ON absence BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
CREATE TRIGGER absence_no_delete BEFORE DELETE ON absence BEGIN SELECT RAISE(ABORT, 'records are kept as they are'); END;
