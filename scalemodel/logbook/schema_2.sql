-- Version 2: how much a drink from a boiler is, where somebody has said so.

ALTER TABLE boiler ADD COLUMN litres_per_drink REAL CHECK (litres_per_drink > 0);
