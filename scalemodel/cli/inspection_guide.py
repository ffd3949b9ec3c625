"""``scalemodel inspection-guide``: how to look inside, what each grade looks like, how to record it."""

from __future__ import annotations

import click

from scalemodel.cli.options_and_output import emit, json_option, logbook_path
from scalemodel.cli.shell_completion import BOILERS


@click.command("inspection-guide")
@click.argument("boiler", required=False, metavar="[BOILER]", shell_complete=BOILERS)
@json_option
@click.pass_context
def inspection_guide(ctx: click.Context, boiler: str | None, as_json: bool) -> None:
    """How to look inside safely, what each grade looks like, and how to record it; with BOILER, its own sites.

    \b
    Example:
      scalemodel inspection-guide kitchen
    """
    from scalemodel.descaling.guide import make_guide
    from scalemodel.logbook.believing import believed_in
    from scalemodel.logbook.store import Logbook
    from scalemodel.model.grading import grading_of

    if boiler is None:
        guide = make_guide()
    else:
        with Logbook.open(logbook_path(ctx)) as book:
            found = book.boiler(boiler)
            guide = make_guide(found, book.sites(found.boiler), grading_of(believed_in(book, found.boiler)))
    emit(guide_json(guide), "\n".join(guide_text(guide)), as_json)


def guide_json(guide) -> dict:
    """The guide as scripts may rely on it."""
    return {
        "boiler": guide.boiler,
        "cautions": list(guide.cautions),
        "steps": [step.whole for step in guide.steps],
        "grades": list(guide.grades),
        "ranges": list(guide.ranges),
        "sites": list(guide.sites),
    }


def guide_text(guide) -> list[str]:
    """The guide as lines for a phone: cautions first."""
    from scalemodel.descaling.narrow_layout import bullets, numbered, wrapped

    return [
        *wrapped("How to look inside" + (f" {guide.boiler}" if guide.boiler else " a boiler")),
        "",
        "CAUTIONS",
        *bullets(guide.cautions),
        "",
        "STEPS",
        *numbered(guide.steps),
        "",
        "GRADES",
        *(line for grade in guide.grades for line in wrapped(grade, "", "   ")),
        "",
        "IN DOUBT",
        *bullets(guide.ranges),
        "",
        "WHERE TO LOOK",
        *bullets(guide.sites),
    ]
