"""The demo: an invented workshop's logbook, read from CSV, and what it says."""

from __future__ import annotations

from contextlib import AbstractContextManager
from datetime import date
from importlib.resources import as_file, files
from pathlib import Path

import click

from scalemodel.cli.ask import deferral_json, deferral_text
from scalemodel.cli.options_and_output import aligned, emit, json_option

DEMO_DAY = date(2026, 11, 1)
"""The day on which the demo's questions are asked: its records end there."""

EXPLAINED = "loft-brew"


def demo_files() -> AbstractContextManager[Path]:
    """The demo's CSV files, which the package carries, as a folder."""
    return as_file(files("scalemodel").joinpath("demo"))


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False),
    default="reports",
    metavar="FOLDER",
    help="Where the figure and the page go (default: reports).",
)
@json_option
def demo(out, as_json) -> None:
    """Load an invented workshop into a throw-away logbook and say how long each descale can wait.

    \b
    Example:
      scalemodel demo
    """
    from scalemodel import api
    from scalemodel.logbook.csv_folder import import_folder
    from scalemodel.logbook.store import Logbook
    from scalemodel.report.contents import report_contents
    from scalemodel.report.figures import draw_figure, save
    from scalemodel.report.files import page_names, write_all
    from scalemodel.report.page import report_page

    with Logbook.in_memory(today=lambda: DEMO_DAY) as book, demo_files() as csv_files:
        import_folder(book, csv_files)
        names = [b.boiler for b in book.boilers()]
        asked = {name: api.prepare(book.facts(name, DEMO_DAY)) for name in names}
    folder = Path(out)
    folder.mkdir(parents=True, exist_ok=True)
    answers = {name: api.defer(case) for name, case in asked.items()}
    figure = save(draw_figure(asked[EXPLAINED]), folder / f"demo-{EXPLAINED}.png")
    written = {page_names(names)[EXPLAINED]: report_page(report_contents(asked[EXPLAINED]))}
    (page,) = write_all(folder, written)
    body = {"boilers": [deferral_json(a) for a in answers.values()], "figure": str(figure), "page": str(page)}
    emit(body, "\n".join(demo_lines(answers, figure, page)), as_json)


def demo_lines(answers: dict, figure: Path, page: Path) -> list[str]:
    """The demo's text: a line a boiler, soonest first, then the reasons for one of them."""
    from scalemodel.decision.status import urgency
    from scalemodel.words.advice import verdict

    ordered = sorted(answers.values(), key=urgency)
    rows = [
        (
            a.boiler,
            verdict(a),
            f"{a.risk_now:.0%}",
            f"{a.tolerance:.0%}",
            f"{a.deposit_now_mg_cm2.p50:.1f}",
            f"{a.threshold_mg_cm2:g}",
        )
        for a in ordered
    ]
    titles = ("boiler", "descale can wait until", "risk now", "accepted", "deposit mg/cm2", "threshold mg/cm2")
    return [
        f"An invented workshop, four boilers, as on {DEMO_DAY}. Risk: that scale has reached the threshold.",
        "",
        *aligned(titles, rows),
        "",
        f"Why, for {EXPLAINED}:",
        "",
        deferral_text(answers[EXPLAINED]),
        "",
        f"The risk and the deposit by date are drawn in {figure}",
        f"A page for any browser, to be tried and printed: {page}",
        "Your own boiler: scalemodel new boiler --help",
    ]
