"""Trust, but check: the same posterior by an independent sampler, the looks that disagree, the beliefs that matter."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from scalemodel.cli.ask import alarm_lines, ask, question_options
from scalemodel.cli.options_and_output import WholeType, aligned, emit, reading_options
from scalemodel.cli.shell_completion import boiler_argument

if TYPE_CHECKING:
    from scalemodel.decision.case import Case


@click.command()
@boiler_argument
@click.option("--beliefs", is_flag=True, help="Show instead how the date moves with each belief held beforehand.")
@click.option(
    "--draws",
    type=WholeType(200, 20_000),
    default=1000,
    metavar="N",
    help="NUTS draws a chain, 200 to 20000 (default: 1000).",
)
@question_options
@reading_options
@click.pass_context
def check(ctx, boiler, beliefs, draws, question, as_of, seed, particles, as_json) -> None:
    """Check the answer for BOILER against an independent sampler (NUTS), and its looks against each other.

    It takes a minute or so. A look that disagrees with all others is named: look again, or mend what was mistyped.

    \b
    Example:
      scalemodel check kitchen
      scalemodel check kitchen --beliefs
    """
    from scalemodel.decision.case import Answer

    case = ask(ctx, boiler, as_of, seed, particles, question)
    body, text = (show_priors if beliefs else show_samplers)(case, draws)
    emit(body, "\n".join([*alarm_lines(Answer(**case.head), case.standing.alarms), text]), as_json)


def show_samplers(case: Case, draws: int) -> tuple[dict, str]:
    """Both posteriors side by side, and what the looks say of each other."""
    from scalemodel.validation.audit import audit
    from scalemodel.validation.look_checks import counts_by_grade, surprises

    result, _ = audit(case, draws, progress=sys.stderr.isatty())
    looks, counts = surprises(case.forecast.posterior), counts_by_grade(case.forecast.posterior)
    body = {
        "boiler": result.boiler,
        "as_of": result.as_of,
        "site": result.site,
        "threshold_mg_cm2": result.threshold_mg_cm2,
        "verdict": result.verdict(),
        "risk": [asdict(pair) for pair in result.risk],
        "nuts": {k: getattr(result.nuts, k) for k in ("r_hat", "divergences", "ess_bulk", "seconds")},
        "quick": {"r_hat": result.quick_r_hat, "seconds": result.quick_seconds},
        "parameters": [asdict(pair) for pair in result.parameters],
        "looks": [
            {
                "date": s.look.date,
                "site": s.look.site,
                "grade_low": s.look.grade_low,
                "grade_high": s.look.grade_high,
                "probability": s.probability,
                "at_least_as_unlikely": s.at_least_as_unlikely,
                "expected_grade": s.expected,
            }
            for s in looks
        ],
        "grades": [asdict(count) for count in counts],
    }
    return body, "\n".join(sampler_lines(result, looks, counts))


def sampler_lines(result, looks, counts) -> list[str]:
    """The audit for people: words first, the tables after."""
    lines = [f"{result.boiler}: {result.verdict()}", *look_words(looks, counts), ""]
    lines += ["Risk that scale has reached the threshold, by both samplers:"]
    rows = [(p.date, f"{p.quick:.1%}", f"{p.nuts:.1%}", f"{p.mc_error:.1%}") for p in result.risk]
    lines += [*aligned(("date", "quick", "NUTS", "random error"), rows), "", "Unknowns, mean and sd by both samplers:"]
    rows = [
        (p.name.strip(), p.scale, *(f"{x:.2f}" for x in (p.quick_mean, p.quick_sd, p.nuts_mean, p.nuts_sd)))
        for p in result.parameters
    ]
    lines += aligned(("unknown", "scale", "quick mean", "sd", "NUTS mean", "sd"), rows)
    if looks:
        lines += ["", "Looks against all the other records, the least expected first:"]
        rows = [(s.look.date, s.look.site, grade_range(s.look), s.expected, f"{s.probability:.0%}") for s in looks[:8]]
        lines += aligned(("date", "site", "seen", "likeliest", "chance of what was seen"), rows)
        lines += ["", "Grades seen, and what the model expects of the same looks (middle 98 %):"]
        rows = [
            (c.site, c.grade, f"{c.observed:.1f}", f"{c.expected:.1f}", f"{c.low} to {c.high}")
            for c in counts
            if c.observed or c.high
        ]
        lines += aligned(("site", "grade", "seen", "expected", "range"), rows)
    nuts = result.nuts
    lines += [
        "",
        f"(quick: R-hat {result.quick_r_hat:.3f}, {result.quick_seconds:.2f} s; NUTS: R-hat {nuts.r_hat:.3f}, at least "
        f"{nuts.ess_bulk:.0f} effective draws, {nuts.divergences} divergences, {nuts.seconds:.0f} s. R-hat: 1 where "
        "the runs of a sampler agree wholly; divergences: places where NUTS lost its way.)",
    ]
    return lines


def grade_range(look) -> str:
    """A look's grade as it is typed: 2, or 1-2."""
    return str(look.grade_low) if look.grade_low == look.grade_high else f"{look.grade_low}-{look.grade_high}"


def look_words(looks, counts) -> list[str]:
    """What the looks say of each other, in sentences."""
    odd = [s for s in looks if s.stands_out]
    lines = [
        f"The look at the {s.look.site} on {s.look.date} (grade {grade_range(s.look)}) stands out: all else would have "
        f"expected grade {s.expected}. Mistyped? See scalemodel history, and amend."
        for s in odd
    ]
    if looks and not odd:
        lines.append("No look stands out from the others.")
    lines += [
        f"Grade {c.grade} was seen {c.observed:.1f} times at the {c.site}; the model expects {c.low} to {c.high}."
        for c in counts
        if c.odd
    ]
    return lines


def show_priors(case: Case, _draws: int) -> tuple[dict, str]:
    """How the date moves with each belief."""
    from scalemodel.decision.precision import error_in_days
    from scalemodel.validation.sensitivity import CHANGES, beliefs, sensitivity

    steps = len(beliefs(case.forecast)) * len(CHANGES)
    with click.progressbar(length=steps, label="solving again", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        result = sensitivity(case, progress=lambda: bar.update(1))
    moves = result.moves()
    error = None if result.base_days is None else error_in_days(case, result.base_days)
    body = {**asdict(result), "moves": [{"belief": b, "meaning": m, "days": d} for b, m, d in moves]}
    lines = [
        f"{result.boiler}: as it stands {days_words(result.base_days, result)}"
        + (f", give or take {max(1.0, error):.0f} days of random error." if error else "."),
        f"It leans most on one belief, {moves[0][1]}: changing that alone moves the date by {moves[0][2]} days.",
        "",
        "Days until which the descale can wait, if one belief is shifted by one sd or made twice as wide:",
    ]
    cells = {(lean.belief, lean.change): days_cell(lean.days, result) for lean in result.leans}
    rows = [(belief, *(cells[belief, change] for change in CHANGES), meaning) for belief, meaning, _ in moves]
    lines += aligned(("belief", *CHANGES, "meaning"), rows)
    if any(lean.days is None for lean in result.leans):
        lines += ["", "past: the risk would be beyond what you accept already."]
    return body, "\n".join(lines)


def days_cell(days: int | None, result) -> str:
    """Days in a table; "past" and "beyond" in words."""
    if days is None:
        return "past"
    return f"over {result.horizon_days}" if days >= result.horizon_days else str(days)


def days_words(days: int | None, result) -> str:
    """Days in a sentence."""
    if days is None:
        return "the tolerance is already passed"
    if days >= result.horizon_days:
        return f"no descale is due within {result.horizon_days} days"
    return f"the descale can wait {days} days"
