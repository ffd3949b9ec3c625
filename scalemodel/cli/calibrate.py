"""Proof by trial: invented boilers whose truth is known, and whether the stated risks came true."""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path

import click

from scalemodel.cli.options_and_output import WholeType, aligned, emit, json_option, seed_option


@click.command()
@click.option(
    "--replications",
    type=WholeType(20, 100_000),
    metavar="N",
    help="How many invented boilers, 20 to 100000 (default: 200).",
)
@click.option("--full", is_flag=True, help="As many as settle it: 2000, which takes some minutes.")
@click.option("--figure", type=click.Path(), metavar="FILE", help="Draw it too; .png or .svg.")
@seed_option
@json_option
def calibrate(replications, full, figure, seed, as_json) -> None:
    """Try the estimator on invented boilers whose truth is known: do its stated risks come true?

    It needs no logbook. Of the risks stated as about 10 %, about one in ten should come true, and so on.

    \b
    Example:
      scalemodel calibrate --figure calibration.png
    """
    from scalemodel.report.calibration_figure import draw_calibration
    from scalemodel.report.figure_style import check_path, save
    from scalemodel.validation.reliability import FULL, QUICK
    from scalemodel.validation.reliability import calibrate as run

    if full and replications is not None:
        raise click.UsageError("--full and --replications exclude each other")
    path = None if figure is None else check_path(Path(figure))
    count = FULL if full else replications or QUICK
    stated = {} if seed is None else {"seed": seed}
    hidden = not sys.stderr.isatty()
    with click.progressbar(length=count, label="invented boilers", file=sys.stderr, hidden=hidden) as bar:
        result = run(count, progress=lambda: bar.update(1), **stated)
    body = {**asdict(result), "faults": result.faults, "figure": None}
    lines = calibration_lines(result)
    if path is not None:
        save(draw_calibration(result), path)
        body["figure"] = str(path)
        lines += ["", f"Drawn in {path}"]
    emit(body, "\n".join(lines), as_json)


def calibration_lines(result) -> list[str]:
    """The answer for people: words first, the tables after."""
    rows = [
        (f"{b.low:.0%} to {b.high:.0%}", b.forecasts, f"{b.stated:.1%}", f"{b.happened:.1%}", range_words(b.expected))
        for b in result.reliability.bins
    ]
    lines = [risk_words(result), unknown_words(result), "", "Risks stated, and what came of them:"]
    lines += aligned(("stated", "forecasts", "mean stated", "came true", "expected if right"), rows)
    lines += ["", "By how many days ahead the risk was stated:"]
    rows = [(d.days, f"{d.stated:.1%}", f"{d.happened:.1%}", f"{d.z:.1f}") for d in result.reliability.days]
    lines += aligned(("days", "mean stated", "came true", "standard errors"), rows)
    lines += ["", "Each unknown: how often a central interval held the truth, and how flat the truth's ranks are:"]
    rows = [
        (
            h.words,
            h.replications,
            *(f"{c.share:.0%}" for c in h.coverage),
            f"{h.lean_z:.1f}",
            f"{h.chi_square:.1f}",
            "off" if h.faults else "",
        )
        for h in result.ranks
    ]
    titles = ("unknown", "boilers", *(f"{c.level:.0%}" for c in result.ranks[0].coverage), "lean", "chi-square", "")
    lines += aligned(titles, rows)
    lines += [
        "",
        f"(chi-square: at most {result.ranks[0].limit:.1f} in 999 of 1000 runs; lean: mean rank, in standard errors; "
        f"{result.particles} particles a population, {result.seconds:.0f} s)",
    ]
    return lines


def range_words(expected: tuple[float, float]) -> str:
    """A range of shares."""
    return f"{expected[0]:.0%} to {expected[1]:.0%}"


def risk_words(result) -> str:
    """Whether stated risks came true, in a sentence."""
    r = result.reliability
    near = [b for b in r.bins if b.low <= 0.1 <= b.high and b.forecasts]
    counted = f"{r.forecasts} risks stated for {result.replications} invented boilers"
    sums = f"{r.stated * r.forecasts:.0f} were to come true, {r.happened * r.forecasts:.0f} did"
    if r.faults:
        return f"Stated risks did NOT come true: of {counted}, {sums}; {'; '.join(r.faults)}."
    low, high = near[0].low, near[-1].high
    share = sum(b.happened * b.forecasts for b in near) / sum(b.forecasts for b in near)
    return (
        f"Stated risks came true: of {counted}, {sums}. Of the risks stated between {low:.0%} and {high:.0%}, "
        f"{share:.0%} came true."
    )


def unknown_words(result) -> str:
    """Which unknown is off, if any, in a sentence."""
    off = [f"{h.words}: {', '.join(h.faults)}" for h in result.ranks if h.faults]
    if off:
        return f"Off: {'; '.join(off)}."
    return f"None of the {len(result.ranks)} kinds of unknown is off: each truth lay where its posterior said."
