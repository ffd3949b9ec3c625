"""Speed of a question, as ratios within one run; nothing here is a test.

Prints (1) the cold time of `scalemodel defer` against the bare imports of what it loads, (2) milliseconds a solve
for 5, 15, 60 and 240 looks, with the likelihood passes a solve takes, (3) the share of its draws that are effective and
the R-hat of the risk over many seeds, and (4) its bias against runs of 30,000 draws (of 60 looks only where asked, as
that takes minutes).

    python -m benchmarks.speed [--seeds 40] [--long-runs-of-60 0]
"""

import argparse
import subprocess
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

import numpy as np

from scalemodel.decision.forecast import Forecast, find_plan
from scalemodel.inference.draws import r_hat, solve
from scalemodel.logbook.records import Boiler
from scalemodel.logbook.store import Logbook
from scalemodel.validation.simulated_boilers import simulate
from tests.builders import schedule

BOILER = Boiler("urn", 0.8, 93.0, date(2025, 1, 1), area_cm2=500.0)
IMPORTS = "import click, sqlite3, numpy, scipy.special"
DAYS_AHEAD = (0, 60, 200)
LONG_RUNS = 8


def wall(arguments: list[str], repeats: int = 7) -> float:
    """Median wall time of a subprocess [s]."""
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)
        times.append(time.perf_counter() - began)
    return float(np.median(times))


def invented(looks: int, every_days: int, tds_mg_l: float):
    """One simulated history with findings."""
    empty = schedule(BOILER, looks, every_days, tds_mg_l=tds_mg_l, litres_per_day=0.45)
    return simulate(solve(empty, particles=100).model, np.random.default_rng(5))[1]


def cold(facts) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logbook.sqlite3"
        with Logbook.open(path, write=True) as book, book.transaction():
            for group in (
                (facts.boiler,),
                facts.sites,
                facts.waters,
                facts.water_tests,
                facts.fills,
                facts.uses,
                facts.descales,
                facts.inspections,
            ):
                for record in group:
                    book.add(record)
        bare = wall(["-c", IMPORTS])
        asked = wall(["-m", "scalemodel.cli", "--logbook", str(path), "defer", "urn", "--as-of", str(facts.as_of)])
    looks = len(facts.inspections)
    print(f"cold `defer`, {looks} looks: {asked:.2f} s; bare imports {bare:.2f} s; ratio {asked / bare:.1f}")


def risks(draws) -> np.ndarray:
    """Risk draws (len(DAYS_AHEAD), C, P)."""
    forecast = Forecast(draws, find_plan(draws))
    return np.stack([draws.by_population(forecast.risk_draws(6.0, d)) for d in DAYS_AHEAD])


def warm(looks: int, every_days: int, tds_mg_l: float, seeds: int, long_runs: int) -> None:
    """Time, passes, effective share and R-hat over many seeds; bias too where long runs are affordable."""
    facts = invented(looks, every_days, tds_mg_l)
    runs, hats, passes, seconds, variances = [], [], [], [], []
    for seed in range(seeds):
        draws = solve(facts, seed=seed)
        each = risks(draws)
        runs.append(each.mean(axis=(1, 2)))
        variances.append(each.var(axis=(1, 2)))
        hats.append(max(r_hat(e) for e in each))
        passes.append(draws.info.evaluations)
        seconds.append(draws.seconds)
    runs = np.array(runs)
    spread = runs.var(axis=0, ddof=1)
    share = np.mean(variances, axis=0) / np.where(spread > 0.0, spread, np.inf) / draws.count
    print(
        f"{looks:3d} looks: {1000 * np.median(seconds):5.0f} ms a solve, {np.mean(passes):4.0f} likelihood passes, "
        f"R-hat of the risk at most {max(hats):.3f} ({seeds} seeds)"
    )
    biases = [""] * len(DAYS_AHEAD)
    if long_runs:
        long = np.array(
            [risks(solve(facts, seed=1000 + k, particles=7500)).mean(axis=(1, 2)) for k in range(long_runs)]
        )
        error = np.hypot(runs.std(axis=0, ddof=1) / np.sqrt(seeds), long.std(axis=0, ddof=1) / np.sqrt(long_runs))
        scores = (runs.mean(axis=0) - long.mean(axis=0)) / error
        biases = [f", bias against {long_runs} x 30,000 draws {score:+.1f} standard errors" for score in scores]
    for days, risk, s, bias in zip(DAYS_AHEAD, runs.mean(axis=0), share, biases, strict=True):
        print(f"           risk in {days:3d} days {risk:6.3f}: {s:4.0%} of the draws effective{bias}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seeds", type=int, default=40)
    parser.add_argument("--long-runs-of-60", type=int, default=0)
    given = parser.parse_args()
    cold(invented(15, 30, 110.0))
    warm(5, 60, 160.0, given.seeds, LONG_RUNS)
    warm(15, 30, 110.0, given.seeds, LONG_RUNS)
    warm(60, 15, 70.0, max(6, given.seeds // 4), given.long_runs_of_60)
    warm(240, 4, 70.0, 3, 0)


if __name__ == "__main__":
    main()
