"""Hindsight: every look foretold from what was known on the day before it, and what was seen."""

from __future__ import annotations

import os
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import read_facts
from scalemodel.cli.options_and_output import aligned, emit, jobs_option, opened, reading_options, watched
from scalemodel.cli.shell_completion import BOILERS
from scalemodel.errors import EvidenceError, RecordClashError
from scalemodel.logbook import clock
from scalemodel.logbook.days import day_or

if TYPE_CHECKING:
    from scalemodel.decision.change import Change
    from scalemodel.validation.hindsight import Hindsight
    from scalemodel.validation.hindsight_fleet import FleetHindsight, Pooled

BAR = "foretelling the looks"

FEW_SOLVES = 8
"""So few looks are foretold in one process: starting others would take longer."""


@click.command()
@click.argument("boiler", required=False, shell_complete=BOILERS)
@click.option("--all", "whole", is_flag=True, help="Every boiler, and all looks together by water and by inspector.")
@click.option("--figure", type=click.Path(), metavar="FILE", help="Draw it too, of one boiler; .png or .svg.")
@jobs_option
@reading_options
@click.pass_context
def hindsight(ctx, boiler, whole, figure, jobs, as_of, seed, particles, as_json) -> None:
    """Were the looks at BOILER as foretold, each from what was known on the day before it?

    Tells how surprising each look was, which date would have been given, whether simpler rules foretell as well, and
    whether something has changed. One boiler by itself seldom tells of a change; all boilers on one water do.

    \b
    Example:
      scalemodel hindsight kitchen --figure kitchen-hindsight.png
      scalemodel hindsight --all
    """
    if whole == (boiler is not None):
        raise RecordClashError("give one boiler, or --all", "for instance: scalemodel hindsight kitchen")
    if whole and figure is not None:
        raise RecordClashError("--figure draws one boiler", "leave --figure or --all out")
    drawn = {"seed": seed, "particles": particles}
    if whole:
        every_boiler(ctx, day_or(as_of, clock.today()), jobs, drawn, as_json)
        return
    from scalemodel import api
    from scalemodel.report.figure_style import check_path, save

    path = None if figure is None else check_path(Path(figure))
    facts = read_facts(ctx, boiler, as_of)
    with watched(BAR) as progress:
        found = api.hindsight(facts, jobs=processes(jobs, len(facts.inspections)), progress=progress, **drawn)
    body, lines = {**hindsight_json(found), "figure": None}, hindsight_lines(found)
    if path is not None:
        from scalemodel.report.hindsight_figure import draw_hindsight

        save(draw_hindsight(found), path)
        body["figure"] = str(path)
        lines += ["", f"Drawn in {path}"]
    emit(body, "\n".join(lines), as_json)


def every_boiler(ctx, day, jobs, drawn, as_json) -> None:
    """Hindsight on all boilers of the logbook."""
    from scalemodel import api
    from scalemodel.words.looking_back import fleet_sentence

    with opened(ctx) as book:
        fleet = [book.facts(one.boiler, day) for one in book.boilers(in_use_on=day) if one.installed_on <= day]
    if not fleet:
        raise EvidenceError(f"no boiler was installed by {day}", "ask as of a later day")
    looks = sum(len(facts.inspections) for facts in fleet)
    with watched(BAR) as progress:
        found = api.fleet_hindsight(fleet, jobs=processes(jobs, looks), progress=progress, **drawn)
    emit(fleet_json(found), "\n".join([fleet_sentence(found, day), *fleet_lines(found, day)]), as_json)


def processes(jobs: int | None, looks: int) -> int:
    """How many processes solve: as asked, else one a core where there are looks enough."""
    if jobs is not None:
        return jobs
    return 1 if looks <= FEW_SOLVES else os.cpu_count() or 1


def change_json(change: Change | None) -> dict | None:
    """A change as scripts may rely on it."""
    return None if change is None else asdict(change)


def hindsight_json(found: Hindsight) -> dict:
    """Hindsight on one boiler as scripts may rely on it."""
    from scalemodel.words.looking_back import hindsight_headline

    return {
        "boiler": found.boiler,
        "as_of": found.as_of,
        "sentence": hindsight_headline(found),
        "looks": [asdict(one) | {"as_foretold": one.as_foretold} for one in found.looks],
        "untold": found.untold,
        "score": None if found.score is None else asdict(found.score),
        "change": change_json(found.change),
        "evidence": found.evidence,
        "pit": None if found.pit is None else asdict(found.pit),
        "reliability": [asdict(one) for one in found.reliability],
        "weighed": [asdict(one) for one in found.weighed],
        "dates": [asdict(one) for one in found.dates],
        "seed": found.seed,
        "particles": found.particles,
    }


def fleet_json(found: FleetHindsight) -> dict:
    """Hindsight on all boilers as scripts may rely on it."""

    def pools(name: str, each: tuple[Pooled, ...]) -> list[dict]:
        return [
            {name: pool.name, "boilers": pool.boilers, "looks": pool.looks, "change": change_json(pool.change)}
            for pool in each
        ]

    wanted = ("boiler", "looks", "score", "change")
    return {
        "boilers": [{name: hindsight_json(one)[name] for name in wanted} for one in found.boilers],
        "waters": pools("water", found.waters),
        "inspectors": pools("inspector", found.inspectors),
        "kinds": pools("kind", found.kinds),
        "missing": found.missing,
    }


def hindsight_lines(found: Hindsight) -> list[str]:
    """The answer for people: one sentence, what was seen of each look, then the rest."""
    from scalemodel.words import looking_back as words

    lines = [words.hindsight_headline(found)]
    lines += [said for said in (words.score_words(found), words.date_words(found), words.untold_words(found)) if said]
    if found.looks:
        lines += ["", "Each look, and the chance of each grade as foretold on the day before it:"]
        lines += aligned(words.LOOK_BACK_TITLES, words.look_back_rows(found.looks))
        lines += ["", "What was seen had been given, on the (geometric) mean, this chance:"]
        lines += aligned(words.SCORE_TITLES, words.score_rows(found))
    if found.reliability:
        lines += ["", "Chances stated that a look shows the threshold or worse, and what was seen:"]
        lines += aligned(words.RISK_TITLES, words.risk_rows(found))
    if found.weighed:
        lines += ["", "Scale that was weighed:", *aligned(words.WEIGHED_TITLES, words.weighed_rows(found))]
    return [*lines, "", *(said for said in (words.rank_words(found), words.watch_note()) if said)]


def fleet_lines(found: FleetHindsight, day) -> list[str]:
    """The answer on all boilers for people, behind its sentence."""
    from scalemodel.words import looking_back as words

    lines = ["", *(words.hindsight_headline(one) for one in found.boilers)]
    lines += [f"{name}: {reason}" for name, reason in found.missing.items()]
    for title, pools in (("water", found.waters), ("inspector", found.inspectors), ("kind", found.kinds)):
        if pools:
            lines += ["", *aligned((title, *words.POOL_TITLES[1:]), words.pool_rows(pools, day))]
    return [*lines, "", words.watch_note()]
