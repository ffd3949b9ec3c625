"""Waters for one boiler, from the command line: ``water compare`` and ``trial``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import alarm_lines, question_options, read_facts
from scalemodel.cli.options_and_output import aligned, emit, reading_options
from scalemodel.cli.shell_completion import WATERS, boiler_argument
from scalemodel.decision.horizon import LONGEST_INTERVAL_DAYS
from scalemodel.errors import RecordClashError
from scalemodel.wording import counted, figure, percent

if TYPE_CHECKING:
    from scalemodel.decision.trial import Arm, Trial
    from scalemodel.decision.water_plan import WaterPlans

MIX_HELP = 'Waters mixed by shares of the litres, such as "tap:0.4,demin:0.6"'


@click.command(short_help="Waters side by side for a boiler, at equal risk.")
@boiler_argument
@click.option(
    "--water",
    "waters",
    multiple=True,
    metavar="W",
    shell_complete=WATERS,
    help="A water of the logbook; may be repeated.",
)
@click.option("--mix", "mixes", multiple=True, metavar="MIX", help=f"{MIX_HELP}; may be repeated.")
@partial(question_options, without=("--water", "--horizon-days"))
@reading_options
@click.pass_context
def compare(ctx, boiler, waters, mixes, question, as_of, seed, particles, as_json) -> None:
    """Lay waters side by side for BOILER at equal risk: days between descales, litres, cartridges, cost a year.

    The present water comes first.

    \b
    Example:
      scalemodel water compare kitchen --water tap --water rain --mix "tap:0.4,demin:0.6"
    """
    from scalemodel import api
    from scalemodel.words.assumed import answer_object

    if not waters and not mixes:
        raise RecordClashError("no water was named", "give --water W or --mix WATER:SHARE,WATER:SHARE")
    facts = read_facts(ctx, boiler, as_of)
    answer = api.compare_waters(facts, waters, mixes, seed=seed, particles=particles, **asdict(question))
    emit(answer_object(answer), compare_text(answer), as_json)


def compare_text(answer: WaterPlans) -> str:
    """The longest interval first in words, then all waters in a table, then what was assumed."""
    from scalemodel.words.advice import interval_words
    from scalemodel.words.assumed import assumed_words
    from scalemodel.words.tables import water_table

    best = max(answer.options, key=lambda o: (o.interval_days is None, o.interval_days or 0, o.interval_draws_days.p50))
    lines = [f"{answer.boiler}: on {best.water} a descale is due least often, {interval_words(best)}."]
    priced = [option for option in answer.options if option.cost_a_year is not None]
    if priced:
        cheap = min(priced, key=lambda o: o.cost_a_year)
        lines.append(f"Cheapest: {cheap.water}, about {figure(cheap.cost_a_year)} a year.")
    lines.append(
        f"Each is descaled in full whenever the risk that scale at the {answer.site} has reached "
        f"{answer.threshold_words} comes to {percent(answer.tolerance)}."
    )
    table = aligned(*water_table(answer.options))
    errors = [o.interval_mc_error_days for o in answer.options if o.interval_mc_error_days is not None]
    if errors:
        lines.append(f"Another run would move the days by about {max(1.0, *errors):.0f} at most.")
    return "\n".join(
        [*lines, "", *table, "", "What was assumed:", *(f"  - {text}" for text in assumed_words(answer.assumptions))]
    )


def one_water(command: Callable) -> Callable:
    """``--water`` or ``--mix``, once."""
    command = click.option("--mix", metavar="MIX", help=f"Or {MIX_HELP[0].lower()}{MIX_HELP[1:]}.")(command)
    return click.option(
        "--water", "tried", metavar="W", shell_complete=WATERS, help="The water to be tried, of the logbook."
    )(command)


@click.command()
@boiler_argument
@one_water
@click.option("--days", type=int, required=True, metavar="N", help="How long the trial lasts, from today.")
@partial(question_options, without=("--water", "--horizon-days"))
@reading_options
@click.pass_context
def trial(ctx, boiler, tried, mix, days, question, as_of, seed, particles, as_json) -> None:
    """What would a trial on another water cost BOILER in risk, and what would a look at its end teach?

    \b
    Example:
      scalemodel trial kitchen --water rain --days 60
    """
    from scalemodel import api

    if tried is not None and mix is not None:
        raise RecordClashError("--water and --mix given together", "a trial is of one of them")
    if tried is None and mix is None:
        raise RecordClashError("no water was named", "give --water W or --mix WATER:SHARE,WATER:SHARE")
    facts = read_facts(ctx, boiler, as_of)
    stated = {name: value for name, value in asdict(question).items() if value is not None}
    answer = api.trial(facts, tried or mix, days, seed=seed, particles=particles, **stated)
    emit(asdict(answer), trial_text(answer), as_json)


def trial_text(answer: Trial) -> str:
    """What it costs in risk, what it teaches, and what the look may show."""
    trying, staying = answer.trying, answer.staying
    lines = [
        *alarm_lines(answer, answer.alarms),
        *trial_dates(answer),
        f"After {counted(answer.days, 'day')} on {trying.water}, on {answer.until}, the risk is "
        f"{percent(trying.risk_at_end)}; staying on {staying.water}, {percent(staying.risk_at_end)}. "
        f"You accept {percent(answer.tolerance)}.",
        f"Risk: that scale at the {answer.site} has reached {answer.threshold_words}.",
        f"A look at the {answer.look_site}, by {answer.look_method}, at its end: {taught_words(trying)}.",
        f"The same look without the trial: {taught_words(staying)}.",
        "",
    ]
    titles = (
        "water",
        "risk at the end",
        "random error",
        "unsure by, days",
        "after the look",
        "sd, days",
        "sd after it",
    )
    lines += aligned(titles, [arm_row(arm) for arm in (trying, staying)])
    lines += ["", f"What the look may show after the trial, and until when {trying.water} could then run on:"]
    lines += aligned(
        ("grade", "chance", "within what you accept until"),
        [(s.grade, percent(s.probability), s.defer_until or "not at all: over it now") for s in trying.shown],
    )
    lines += [
        "",
        "Unsure by: the days from that on which the risk passes 10% to that on which it passes 90%, at most "
        f"{LONGEST_INTERVAL_DAYS}; the fewer, the better one knows when. sd: the same as a standard deviation.",
    ]
    return "\n".join(lines)


def trial_dates(answer: Trial) -> list[str]:
    """Until when the descale can wait, if one goes back after the trial, and if one stays."""
    from scalemodel.words.answer import until_words

    if answer.alarms:
        return []
    back, stay = (
        until_words(*one, answer.horizon_days)
        for one in ((answer.status, answer.defer_until), (answer.staying_status, answer.staying_until))
    )
    return [
        f"{answer.boiler}: with {counted(answer.days, 'day')} on {answer.trying.water} and then back to "
        f"{answer.staying.water} {back}; staying on {answer.staying.water} {stay}."
    ]


def taught_words(arm: Arm) -> str:
    """How much surer a look makes one of the day, as a clause."""
    if arm.narrower <= arm.narrower_mc_error:
        return f"one would hardly be surer of the day on which scale passes on {arm.water}"
    return (
        f"the day on which scale passes on {arm.water} would be known to within {arm.after_look_days:.0f} days, not "
        f"{arm.window_days:.0f}, {arm.narrower:.0%} fewer (random error {arm.narrower_mc_error:.0%})"
    )


def arm_row(arm: Arm) -> tuple[str, ...]:
    """A line of the table."""
    return (
        arm.water,
        percent(arm.risk_at_end),
        percent(arm.risk_mc_error),
        f"{arm.window_days:.0f}",
        f"{arm.after_look_days:.0f}",
        f"{arm.sd_days:.0f}",
        f"{arm.sd_after_look_days:.0f}",
    )
