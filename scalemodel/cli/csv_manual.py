"""The page on the CSV files, written from the records: ``python -m scalemodel.cli.csv_manual > docs/csv.md``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

import click

from scalemodel.logbook.adoption import Adoption
from scalemodel.logbook.columns import Column
from scalemodel.logbook.csv_folder import cell_text, csv_text
from scalemodel.logbook.kinds import KINDS, Kind, Record, kind_of
from scalemodel.logbook.records import (
    Absence,
    Boiler,
    Descale,
    Fill,
    Inspection,
    Prices,
    Site,
    Use,
    Water,
    WaterTest,
)
from scalemodel.logbook.rules import CHECKS
from scalemodel.logbook.units import HIGHEST_BY_UNIT, OTHER_UNITS

INTRODUCTION = """\
# The CSV files

`scalemodel export FOLDER` writes the logbook as the eleven files below, `scalemodel import FOLDER` reads them, and
[data/demo](../data/demo) is a whole logbook in that form. This page is written from the records themselves by
`python -m scalemodel.cli.csv_manual > docs/csv.md`; `scalemodel amend NUMBER FIELD=VALUE` calls the fields by the same
names and takes the same values.

- A folder is read whole or not at all; every fault is named with its file, row and column. Files may be missing.
- The text is UTF-8. The first row names the columns, in any order; those that are not required may be left out.
- Cells are separated by commas, semicolons or tabs, the same in all of a file. A text with that mark in it stands in
  double quotes.
- A blank cell is a value that is left out: what it then counts as stands under "if blank".
- A date is `YYYY-MM-DD`. A price that is left out costs nothing.
- A number has a decimal point; a decimal comma is taken where no mark of thousands could be meant. The range holds its
  ends. A cell that names no unit is in the column's; it may name another of the same quantity, as the table at the end
  has it: `750 mL`.
- A cell that begins with `=`, `+`, `-` or `@`, which a spreadsheet would run as a formula, is written behind an
  apostrophe; reading takes it off again.
- A row that says just what a record or another row says is a fault, and so is one that is hard to believe beside all
  others; `import --help` tells how to insist.
- Photographs of looks are files in a folder `photos` beside these. One more column of inspections.csv, `photos`, names
  those of a look, with `;` between them; JPEG and PNG are read, and every one that is there must be named. An export
  writes the folder and the column where there is a photograph.
"""

DAY = date(2025, 3, 1)
"""The day on which the example begins."""

EXAMPLES: tuple[Record, ...] = (
    Boiler(
        "counter", 1.8, 94.0, DAY, area_cm2=850.0, steam_share=0.02, start="clean", threshold_grade=3, tolerance=0.05,
        note="brew boiler behind the bar", litres_per_drink=0.15, filled_by="pump", graded="patch", owner="Quay Cafe",
        owner_address="1 Quay Street",
    ),
    Boiler("urn", 20.0, 96.0, DAY, start="unknown", filled_by="hand", retired_on=date(2025, 9, 2)),
    Site("counter", "element", reference=True, look_cost=15.0, note="seen only with the boiler drained and open"),
    Site("counter", "window", relative_deposit=0.7, relative_log_sd=0.3, look_cost=1.0),
    Water("town", cost_per_litre=0.004, note="tap behind the bar"),
    WaterTest("town", DAY, tds_mg_l=245.0, tds_factor=0.5, kit="meter"),
    WaterTest(
        "town", date(2025, 9, 2), conductivity_us_cm=490.0, hardness=11.5, hardness_unit="dH", calcium=170.0,
        calcium_unit="mg/L", alkalinity=3.4, alkalinity_unit="mmol/L", ph=7.6, temperature_c=14.0, kit="laboratory",
    ),
    Fill("counter", DAY, "town"),
    Fill("urn", DAY, "town"),
    Use("counter", DAY, date(2025, 4, 1), drinks=620.0, litres_per_drink=0.2),
    Use("urn", DAY, date(2025, 7, 1), litres=900.0),
    Use("counter", date(2025, 4, 1), date(2025, 7, 1), meter_from_l=1042.5, meter_to_l=1398.0),
    Inspection("counter", date(2025, 5, 12), "window", 1, 2, method="glance", note="patchy near the water line"),
    Inspection("counter", date(2025, 7, 2), "element", 3, 3, method="mirror", thickness_um=40.0),
    Inspection("counter", date(2025, 7, 2), "element", 0, 0, inspector="Ada", after_descale=True),
    Descale(
        "counter", date(2025, 7, 2), scope="full", acid="citric", acid_g=60.0, scale_recovered_g=4.2,
        note="fizzed for ten minutes",
    ),
    Prices(
        "counter", DAY, descale_materials=4.0, descale_hours=1.5, hour_cost=22.0, descale_wear=8.0, strip_down=160.0,
        cartridge_cost=14.0, cartridge_litres=60.0,
    ),
    Absence("urn", date(2025, 8, 1), date(2025, 8, 18), note="closed for the summer"),
    Adoption(date(2025, 9, 2), "capture = {mean = -0.4, sd = 0.6}", note="little stays in ours"),
)  # fmt: skip
"""An invented logbook in which every column is filled in somewhere."""


def page() -> str:
    """The whole page, Markdown."""
    parts = [INTRODUCTION]
    for kind in KINDS.values():
        parts += _section(kind)
    parts += ["## Other units", "", *_units_table()]
    return "\n".join(parts) + "\n"


def examples_of(kind: Kind) -> tuple[Record, ...]:
    """The records of a kind that its section shows."""
    return tuple(record for record in EXAMPLES if kind_of(record) is kind)


def _section(kind: Kind) -> list[str]:
    """A file: its columns, its rules, and a few rows of it."""
    rules = [f"- {check.__doc__.splitlines()[0]}" for check in CHECKS[kind.name]]
    return [
        f"## {kind.file}",
        "",
        *_table(("column", "what it means", "unit", "may hold", "if blank", "example"), _rows(kind)),
        "",
        "Every row keeps to this:",
        "",
        *rules,
        "",
        "```text",
        csv_text(kind, examples_of(kind)).rstrip("\n"),
        "```",
        "",
    ]


def _rows(kind: Kind) -> Iterator[tuple[str, ...]]:
    for name, column in kind.fields.items():
        cells = (cell_text(kind, name, getattr(record, name)) for record in examples_of(kind))
        example = next(cell for cell in cells if cell)
        about = _plain(column.about)
        yield f"`{name}`", about, _unit(kind, name), _plain(column.rule.allowed), _if_blank(column), f"`{example}`"


def _unit(kind: Kind, name: str) -> str:
    """The unit of a column's numbers, or the column that names it."""
    beside = f"{name}_unit"
    return f"`{beside}`" if beside in kind.fields else getattr(kind.fields[name].rule, "unit", "")


def _if_blank(column: Column) -> str:
    """What a blank cell counts as."""
    if column.required:
        return "required"
    if column.follows:
        return f"as `{column.follows}`"
    return "not recorded" if column.default in (None, "") else f"`{column.rule.write(column.default)}`"


def _plain(text: str) -> str:
    """A text in which Markdown finds no mark of its own."""
    return text.replace("\\", "\\\\").replace("|", "\\|")


def _units_table() -> Iterator[str]:
    yield "A cell may name another unit than its column's, in any case, singular or plural:"
    yield ""
    yield from _table(
        ("kept in", "a cell may also say"),
        ((kept, ", ".join(_as_kept(kept, *one) for one in units.items() if one[0] != kept.lower()))
         for kept, units in OTHER_UNITS.items()),
    )  # fmt: skip
    yield ""
    yield "A temperature may be in F, a share or a probability in %. A hardness, and what is like it, goes up to"
    yield ", ".join(f"{highest:g} {unit}" for unit, highest in HIGHEST_BY_UNIT.items()) + "; mg/L are as CaCO3."


def _as_kept(kept: str, name: str, size: float) -> str:
    """A unit, with what one of it is in the unit that is kept unless they are the same."""
    return name if size == 1.0 else f"{name} ({size:.4g} {kept})" if size < 1e4 else f"{name} ({size:.0f} {kept})"


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> Iterator[str]:
    yield "| " + " | ".join(head) + " |"
    yield "|" + "---|" * len(head)
    for row in rows:
        yield "| " + " | ".join(row) + " |"


if __name__ == "__main__":
    click.echo(page(), nl=False)
