-- Version 4: what a grade of a boiler is of, where somebody has said so.

ALTER TABLE boiler ADD COLUMN graded TEXT CHECK (graded IN ('whole', 'patch'));
