-- Version 2: how much a drink from a boiler is, and what fills it, where somebody has said so.

ALTER TABLE boiler ADD COLUMN litres_per_drink REAL CHECK (litres_per_drink > 0);
ALTER TABLE boiler ADD COLUMN filled_by TEXT CHECK (filled_by IN ('pump', 'hand'));
