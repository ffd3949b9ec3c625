"""What was learned of a fleet, for people and as a priors file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import exp

from scalemodel.fleet.pool import Learned, Pool
from scalemodel.fleet.population import NORMAL_95
from scalemodel.logbook.belief import Belief
from scalemodel.logbook.priors_text import BOILERS, CUT_POINTS, POOLED, constants_in
from scalemodel.model.beliefs import house
from scalemodel.wording import counted, figure


def interval(row: Learned) -> tuple[float, float]:
    """Between what the mean lies in nine of ten cases, on its prior's scale."""
    return row.mean - NORMAL_95 * row.mean_error, row.mean + NORMAL_95 * row.mean_error


def share(logit: float) -> str:
    """A logit as per cent.

    >>> share(0.0), share(-5.0)
    ('50%', '0.67%')
    """
    return f"{figure(100.0 / (1.0 + exp(-logit)), 2)}%"


def sentences(pool: Pool) -> Iterator[str]:
    """What was learned, first what matters most."""
    for row in pool.population:
        if row.unknown == "capture":
            low, high = (row.mean + sign * NORMAL_95 * row.sd for sign in (-1, 1))
            yield (
                f"A boiler here keeps {share(row.mean)} of what could stay in it (the house says "
                f"{share(row.house_mean)}); most keep {share(low)} to {share(high)}."
            )
    yield from map(inspector_sentence, pool.inspectors)
    yield from map(water_sentence, pool.waters)
    yield f"Learned from {counted(pool.boilers, 'boiler')} and {counted(pool.looks, 'look')} in {rounds(pool)}."
    if not pool.settled:
        yield (
            "The rounds did not settle: take these figures as rough, the spreads above all "
            f"(least effective share of a boiler's draws {figure(pool.effective_share, 2)})."
        )
    for boiler, reason in pool.left_out:
        yield f"{boiler} was left out: {reason}"


def rounds(pool: Pool) -> str:
    return counted(pool.rounds, "round")


def standing(row: Learned) -> str:
    """How an inspector grades: leniently or strictly where nine tenths of the belief say so."""
    low, high = interval(row)
    return "leniently" if low > 0.0 else "strictly" if high < 0.0 else "as others do, as far as can be told"


def inspector_sentence(row: Learned) -> str:
    """How an inspector grades, with the interval."""
    low, high = interval(row)
    return (
        f"{row.subject} grades {standing(row)}: the same grade stands for {figure(exp(row.mean), 2)} times the deposit "
        f"({figure(exp(low), 2)} to {figure(exp(high), 2)}; {counted(row.looks, 'look')}, "
        f"{counted(row.boilers, 'boiler')})."
    )


def water_sentence(row: Learned) -> str:
    """How strong a water is against its tests."""
    low, high = interval(row)
    way = "stronger" if low > 0.0 else "weaker" if high < 0.0 else "as strong, as far as can be told,"
    than = "than" if low > 0.0 or high < 0.0 else "as"
    return (
        f"{row.subject} is {way} {than} its tests say: by {figure(row.mean, 2)} of their sds "
        f"({figure(low, 2)} to {figure(high, 2)}; {counted(row.boilers, 'boiler')})."
    )


def priors_text(pool: Pool) -> str:
    """The priors file of a pool, TOML: for every other boiler, and for each of its own from all the others."""
    rows = {(row.unknown, row.subject): row for row in (*pool.population, *pool.waters, *pool.inspectors)}
    beliefs = pool.beliefs()
    constants = constants_in(beliefs)
    lines = [
        f"# Learned on {pool.as_of} from {counted(pool.boilers, 'boiler')} and {counted(pool.looks, 'look')}, in "
        f"{rounds(pool)}{'' if pool.settled else ', which did not settle'}.",
        *constants_text(constants),
        f"[{POOLED}]",
        f"on = {pool.as_of}",
        f"boilers = {pool.boilers}",
        f"looks = {pool.looks}",
    ]
    for one in (one for one in beliefs if one not in constants):
        row = rows.get((one.name, one.subject))
        source = "as before" if row is None else f"{counted(row.boilers, 'boiler')}, {counted(row.looks, 'look')}"
        lines += [
            "",
            f"# {house()[one.name].meaning}: {source}",
            f"[{one.name}{'.' + quoted(one.subject) if one.subject else ''}]",
            *(f"{key} = {value:.6g}" for key, value in figures(one)),
            f'scale = "{house()[one.name].scale}"',
        ]
    lines += ["", "# What a boiler's own looks said must not count twice: for each of these, from all the others."]
    for boiler in pool.learned_from:
        lines += ["", f"[{BOILERS}.{quoted(boiler)}]", *told_apart(pool, boiler)]
    return "\n".join(lines) + "\n"


def told_apart(pool: Pool, boiler: str) -> Iterator[str]:
    """What is believed of one of a pool's boilers, from all the others, a line each."""
    beliefs = pool.beliefs(without=boiler)
    constants = constants_in(beliefs)
    for one in (one for one in beliefs if one not in constants):
        name = f"{one.name}.{quoted(one.subject)}" if one.subject else one.name
        yield from (f"{name}.{key} = {value:.6g}" for key, value in figures(one))


def constants_text(beliefs: Sequence[Belief]) -> Iterator[str]:
    """What beliefs tell of the scale of a look, a line each, as it stands before all tables."""
    constants = constants_in(beliefs)
    cuts = [f"{one.mean:.10g}" for one in constants if one.name == CUT_POINTS]
    if cuts:
        yield f"{CUT_POINTS} = [{', '.join(cuts)}]"
    yield from (f"{one.name} = {one.mean:.10g}" for one in constants if one.name != CUT_POINTS)


def figures(one: Belief) -> Iterator[tuple[str, float]]:
    """The mean and the sd of a belief, where it tells them."""
    return ((key, value) for key, value in (("mean", one.mean), ("sd", one.sd)) if value is not None)


def quoted(name: str) -> str:
    """A name as a key of TOML.

    >>> print(quoted('Ann "the eye" O'))
    "Ann \\"the eye\\" O"
    """
    escaped = "".join(
        f"\\u{ord(letter):04x}" if ord(letter) < 32 or ord(letter) == 127 else letter
        for letter in name.replace("\\", "\\\\").replace('"', '\\"')
    )
    return f'"{escaped}"'
