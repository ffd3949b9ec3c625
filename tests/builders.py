"""Small invented histories for tests."""

from datetime import date, timedelta

import numpy as np

from scalemodel.logbook.records import (
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
from scalemodel.model.evaluation import Evaluation

START = date(2025, 1, 1)


def day(n: int) -> date:
    return START + timedelta(days=n)


def look(n: int, low: int, high: int | None = None, site: str = "wall", **more) -> Inspection:
    return Inspection("urn", day(n), site, low, low if high is None else high, **more)


def history(
    *looks: Inspection,
    descales: tuple[Descale, ...] = (),
    days: int = 360,
    litres_per_day: float = 0.43,
    tds: float = 240.0,
    boiler: dict | None = None,
    **more,
) -> BoilerFacts:
    """A boiler in use since START on one meter-tested water; ``as_of`` is ``days`` later."""
    made = {"boiler": "urn", "volume_l": 0.8, "temperature_c": 93.0, "installed_on": START, "area_cm2": 500.0}
    made.update(boiler or {})
    facts = {
        "sites": (Site("urn", "chamber"), Site("urn", "element", relative_deposit=1.5, relative_log_sd=0.3)),
        "waters": (Water("tap"), Water("soft")),
        "water_tests": (WaterTest("tap", START, tds_mg_l=tds), WaterTest("soft", START, tds_mg_l=100.0)),
        "fills": (Fill("urn", START, "tap"),),
        "uses": tuple(
            Use("urn", day(k), day(min(k + 30, days)), litres=litres_per_day * (min(k + 30, days) - k))
            for k in range(0, days, 30)
        ),
    }
    facts.update(more)
    return BoilerFacts(Boiler(**made), day(days), inspections=tuple(looks), descales=tuple(descales), **facts)


def schedule(boiler: Boiler, looks: int, every_days: int, tds_mg_l: float, litres_per_day: float) -> BoilerFacts:
    """A plain history without findings yet: ``looks`` looks ``every_days`` apart, every third at a second
    site, one descale in the middle where there are more than five looks, use recorded by month."""
    name, start = boiler.boiler, boiler.installed_on

    def day(n: int):
        return start + timedelta(days=n)

    total = every_days * looks
    seen = tuple(
        Inspection(
            name,
            day(every_days * (k + 1)),
            "chamber" if k % 3 == 2 else "wall",
            0,
            0,
            "glance" if k % 4 == 1 else "eye",
        )
        for k in range(looks)
    )
    uses = tuple(
        Use(name, day(k), day(min(k + 30, total)), litres=litres_per_day * (min(k + 30, total) - k))
        for k in range(0, total, 30)
    )
    descales = (Descale(name, day(every_days * (looks // 2))),) if looks > 5 else ()
    return BoilerFacts(
        boiler, day(total), (Site(name, "chamber"),), (Water("tap"),),
        (WaterTest("tap", start, tds_mg_l=tds_mg_l),), (Fill(name, start, "tap"),), uses, seen, descales,
    )  # fmt: skip


class GaussianTarget:
    """theta ~ N(0, sd0^2), y_i ~ N(theta, noise^2); one coordinate theta / sd0, or several, each with its own y."""

    def __init__(self, y, noise: float, prior_sd: float) -> None:
        self.y, self.noise, self.prior_sd = np.atleast_2d(y), noise, prior_sd
        self.dim = self.static_dim = len(self.y)

    def draw_prior(self, rng, count):
        return rng.standard_normal((self.dim, count))

    def evaluate(self, x):
        miss = (self.y[:, :, None] - self.prior_sd * x[:, None, :]) / self.noise
        each = -0.5 * miss**2 - 0.5 * np.log(2 * np.pi) - np.log(self.noise)
        return Evaluation(np.zeros(x.shape[1]), each.sum(axis=(0, 1)), x)
