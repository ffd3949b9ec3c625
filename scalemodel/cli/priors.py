"""What is believed before any record: the table of priors, and what a file of one's own would say."""

from __future__ import annotations

import click

from scalemodel.cli.options_and_output import PRIORS_FILE, aligned, emit, json_option, seed_option, watched


@click.group()
def priors() -> None:
    """What is believed before any record, and how to believe otherwise.

    Every command that reads takes --priors FILE: a TOML file of what differs from the table of priors show. Answers
    that follow from such a file say so among what was assumed.

    \b
    Example:
      scalemodel priors show
      scalemodel priors check ours.toml
    """


@priors.command()
@click.option("--priors", "own", type=PRIORS_FILE, metavar="FILE", default=None, help="With what this file puts there.")
@json_option
def show(own: str | None, as_json: bool) -> None:
    """The prior of every unknown, by its name in a priors file.

    \b
    Example:
      scalemodel priors show --priors ours.toml
    """
    from scalemodel.model.beliefs import OF_SEVERAL, believed, house, read_priors

    told = read_priors(own) if own else ()
    rows = [(name, "", believed(told, name)) for name in house()]
    rows += [(one.name, one.subject, believed(told, one.name, one.subject)) for one in told if one.subject]
    rows.sort(key=lambda row: list(house()).index(row[0]))
    body = [
        {"unknown": name, "of": of, "mean": prior.mean, "sd": prior.sd, "scale": prior.scale, "meaning": prior.meaning}
        for name, of, prior in rows
    ]
    titles = ("unknown", *(("of",) if any(of for _, of, _ in rows) else ()), "mean", "sd", "scale", "meaning")
    lines = [(name, of, f"{prior.mean:.4g}", f"{prior.sd:.4g}", prior.scale, prior.meaning) for name, of, prior in rows]
    table = aligned(titles, lines if "of" in titles else [(name, *more) for name, _, *more in lines])
    several = ", ".join(f"{name} by {whose}" for name, whose in OF_SEVERAL.items())
    lines = [
        *table,
        "",
        "In a file, a table an unknown, such as [capture] with mean = 0.4 or sd = 0.6; only what differs.",
        f"A table within it is of one alone, such as [relative.chamber]: {several}.",
    ]
    emit(body, "\n".join(lines), as_json)


@priors.command()
@click.argument("file", type=PRIORS_FILE)
@seed_option
@json_option
def check(file: str, seed: int | None, as_json: bool) -> None:
    """What FILE would say of a new boiler on three waters, beside the house's priors.

    The boiler holds 0.8 L at 93 C, 500 cm2, and draws 3 L a week; its waters are known by a meter alone. Days until the
    risk that scale passes 6 mg/cm2 is 10, 50 and 90 %.

    \b
    Example:
      scalemodel priors check ours.toml
    """
    from scalemodel.model.beliefs import differing, read_priors
    from scalemodel.validation.prior_predictive import prior_predictive

    beliefs = read_priors(file)
    with watched("drawing from the priors") as progress:
        found = prior_predictive(beliefs, seed, progress)
    body = {
        "differs": differing(beliefs),
        "waters": [
            {"water": one.water, "tds_mg_l": one.tds_mg_l, "days": one.days, "house_days": one.house} for one in found
        ],
    }
    titles = ("water", "TDS mg/L", "10%", "50%", "90%", "house 10%", "50%", "90%")
    rows = [(one.water, f"{one.tds_mg_l:g}", *(map(_days, (*one.days, *one.house)))) for one in found]
    lines = [
        f"Differs from the house: {differing(beliefs) or 'nothing'}.",
        "A new boiler of 0.8 L at 93 C that draws 3 L a week; days until the risk of passing 6 mg/cm2 is so much:",
        "",
        *aligned(titles, rows),
    ]
    emit(body, "\n".join(lines), as_json)


def _days(days: int | None) -> str:
    return "never" if days is None else str(days)
