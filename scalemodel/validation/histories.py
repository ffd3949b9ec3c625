"""Invented histories of every kind that a logbook may hold, still without findings: what calibration runs on.

Everything here is drawn before, and apart from, the truth: dates, waters, use, and who looks where and how. The
findings follow from a truth (`scalemodel.validation.simulated_boilers`).
"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from scalemodel.logbook.records import (
    METHODS,
    WALL,
    Boiler,
    BoilerFacts,
    Descale,
    Fill,
    Inspection,
    Site,
    Use,
    Water,
    WaterTest,
)

NAME, FIRST_DAY = "invented", date(2024, 1, 1)
MOST_LOOKS = 12
SITES, INSPECTORS = (WALL, "chamber", "element"), ("", "early shift", "late shift")
METHOD_SHARES = (0.5, 0.15, 0.1, 0.25)
"""How often each of `METHODS` is drawn."""

WIDTH_SHARES = (0.62, 0.22, 0.09, 0.05, 0.02)
"""How often a look may say one grade, up to two, three, four or all five."""

DESCALE_SHARES = (0.4, 0.4, 0.2)
"""How often a history holds no descale, one, two."""


def invent_history(rng: np.random.Generator) -> BoilerFacts:
    """A random history: 1 to 12 looks, at most two descales, one or two waters, use by month with or without gaps.

    Boilers hold 0.3 to 6 L at 60 to 99 C, a quarter of them make steam at 110 to 128 C; a quarter start unknown. Waters
    run from 40 to 400 mg/L on a pocket meter, some with a hardness test beside it. Grades, thicknesses and recovered
    masses stand as places to be filled: only their dates, sites, methods, widths and presence mean anything.
    """
    boiler = _boiler(rng)
    days = int(np.exp(rng.uniform(np.log(120.0), np.log(1500.0))))
    sites = (
        Site(NAME, "chamber", reference=bool(rng.random() < 0.15)),
        Site(NAME, "element", relative_deposit=1.5, relative_log_sd=0.3),
    )
    waters, tests, fills = _waters(rng, days)
    descales = tuple(_descale(rng, d) for d in _days(rng, int(rng.choice(len(DESCALE_SHARES), p=DESCALE_SHARES)), days))
    return BoilerFacts(
        boiler,
        _day(days),
        sites,
        waters,
        tests,
        fills,
        _uses(rng, boiler.volume_l, days),
        _looks(rng, days, {d.date for d in descales}),
        descales,
    )


def _day(n: int) -> date:
    return FIRST_DAY + timedelta(days=int(n))


def _days(rng: np.random.Generator, count: int, last: int) -> list[int]:
    return sorted(int(n) for n in rng.choice(np.arange(1, last + 1), size=count, replace=False))


def _boiler(rng: np.random.Generator) -> Boiler:
    steam = rng.random() < 0.25
    return Boiler(
        NAME,
        float(np.exp(rng.uniform(np.log(0.3), np.log(6.0)))),
        float(rng.uniform(110.0, 128.0) if steam else rng.uniform(60.0, 99.0)),
        FIRST_DAY,
        steam_share=float(rng.uniform(0.05, 0.6)) if steam else 0.0,
        start="unknown" if rng.random() < 0.25 else "clean",
        threshold_grade=int(rng.integers(2, 5)),
    )


def _waters(rng: np.random.Generator, days: int) -> tuple[tuple[Water, ...], tuple[WaterTest, ...], tuple[Fill, ...]]:
    names = ("tap", "mixed")[: 1 + int(rng.random() < 0.4)]
    tests = []
    for name in names:
        tds = float(np.exp(rng.uniform(np.log(40.0), np.log(400.0))))
        tests.append(WaterTest(name, FIRST_DAY, tds_mg_l=tds))
        if rng.random() < 0.3:
            tests.append(WaterTest(name, _day(days // 3), hardness=0.8 * tds, hardness_unit="mg/L", kit="drops"))
    fills = [Fill(NAME, FIRST_DAY, names[0])]
    if len(names) > 1:
        change = _days(rng, 2, days)
        fills.append(Fill(NAME, _day(change[0]), names[1]))
        if rng.random() < 0.4:
            fills.append(Fill(NAME, _day(change[1]), names[0]))
    return tuple(map(Water, names)), tuple(tests), tuple(fills)


def _uses(rng: np.random.Generator, volume_l: float, days: int) -> tuple[Use, ...]:
    """Use by month at 0.1 to 1.5 volumes a day; in four histories of ten a third of the months are missing."""
    rate = volume_l * np.exp(rng.uniform(np.log(0.1), np.log(1.5)))
    missing = 0.35 if rng.random() < 0.4 else 0.0
    months = [n for n in range(0, days, 30) if n == 0 or rng.random() >= missing]
    return tuple(
        Use(
            NAME,
            _day(n),
            _day(min(n + 30, days)),
            litres=float(rate * (min(n + 30, days) - n) * np.exp(0.2 * rng.standard_normal())),
        )
        for n in months
    )


def _descale(rng: np.random.Generator, day: int) -> Descale:
    scope = "full" if rng.random() < 0.7 else "partial"
    return Descale(NAME, _day(day), scope, scale_recovered_g=1.0 if rng.random() < 0.35 else None)


def _looks(rng: np.random.Generator, days: int, descaled: set[date]) -> tuple[Inspection, ...]:
    chosen = _days(rng, rng.integers(1, MOST_LOOKS + 1), days)
    if descaled and rng.random() < 0.3:  # a look on the day of a descale, before or after it
        chosen = sorted({*chosen[:-1], (min(descaled) - FIRST_DAY).days})
    sites, inspectors = SITES[: rng.integers(2, 4)], INSPECTORS[: rng.integers(1, 4)]
    looks = []
    for n in chosen:
        width = int(rng.choice(len(WIDTH_SHARES), p=WIDTH_SHARES))
        looks.append(
            Inspection(
                NAME,
                _day(n),
                str(rng.choice(sites)),
                0,
                width,
                str(rng.choice(METHODS, p=METHOD_SHARES)),
                str(rng.choice(inspectors)),
                after_descale=_day(n) in descaled and bool(rng.random() < 0.5),
                thickness_um=1.0 if rng.random() < 0.12 else None,
            )
        )
    return tuple(looks)
