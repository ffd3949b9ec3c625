"""An example of a sheet and of its map, to begin from."""

from __future__ import annotations

from pathlib import Path

from scalemodel.atomic import write_files
from scalemodel.errors import BadValueError, LogbookError
from scalemodel.logbook.sheet_map import FIELDS

SHEET, MAP = "sheet.csv", "columns.toml"
"""What the two files are called."""

EXAMPLE = """\
Date,Place,Machine,Grade,Meter reading,TDS,Initials
2026-09-01,Mill Street,kitchen,1,1204.5,310,AB
1.9.2026,Mill Street,bar,0-1,388,,AB
3 Oct 2026,Mill Street,kitchen,1-2,"1,263.0",318,CD
3 Oct 2026,Mill Street,bar,1,402.5,318 ppm,CD
"""

_HEAD = """\
# Which column of a sheet holds what, for: scalemodel import --sheet sheet.csv --map columns.toml
# The headings on the right are those of your sheet, in any order and case; a column that is not named here is not read.

[columns]
date = "Date"
boiler = "Machine"
place = "Place"                # where machines of two places are called alike: a boiler may be called "Place Machine"
grade = "Grade"                # 2, 2-3, 3+ (at least 3) or 1- (at most 1)
meter = "Meter reading"        # each reading ends the stretch of use that the one before began
tds = "TDS"                    # of the water that the machine draws on that day
inspector = "Initials"
"""

_TAIL = """
[always]                       # what every row has, where its cell is blank or there is no column
# site = "wall"                # where it was looked at, where a boiler has more than one place
# method = "eye"

[reading]                      # only where the sheet itself leaves it in doubt
# dates = "day first"          # what 03/11/26 is: "day first", "month first" or "year first"
# decimal = ","                # what 1.204 is: "," takes it for 1204, "." for 1.204
# months = ["jan", "fev", "mar", "avr", "mai", "juin", "juil", "aou", "sep", "oct", "nov", "dec"]
# blank = ["none"]             # cells that say nothing, besides "-" and "n/a"
# encoding = "cp1252"          # where the file is not UTF-8

[units]                        # where a cell names none
# meter = "m3"

[boilers]                      # what is called otherwise in the logbook: "in the sheet" = "in the logbook"
# "No. 1" = "kitchen"

[sites]

[waters]

[inspectors]
# AB = "Ada B."
"""


def map_text() -> str:
    """The example of a map, with a line for each field that it leaves out."""
    named = {line.partition(" = ")[0] for line in _HEAD.splitlines() if " = " in line}
    rest = [f'# {name} = "..."'.ljust(31) + f"# {about}" for name, about in FIELDS.items() if name not in named]
    return _HEAD + "\n".join(rest) + "\n" + _TAIL


def write_template(folder: str | Path) -> tuple[Path, Path]:
    """Write both into a folder, which is made if there is none; gives their paths.

    Raises BadValueError where one is there already, LogbookError for a folder that cannot be written in.
    """
    place = Path(folder)
    contents = {place / SHEET: EXAMPLE.encode(), place / MAP: map_text().encode()}
    for path in contents:
        if path.exists():
            raise BadValueError("folder", path, f"a folder without {path.name}")
    try:
        place.mkdir(parents=True, exist_ok=True)
        write_files(contents)
    except OSError as error:
        said = f"cannot write to {str(place)!r}: {error.strerror or error}"
        raise LogbookError(said, "name a folder that you may write to") from error
    return place / SHEET, place / MAP
