"""Speed of a question, as ratios within one run; nothing here is a test.

Prints (1) milliseconds a solve for 5, 15, 60 and 240 looks, with the likelihood passes a solve takes, (2) the share of
its draws that are effective and the R-hat of the risk over many seeds, and (3) its bias against runs of 30,000 draws
(of 60 looks only where asked, as that takes minutes). What a cold command costs: benchmarks/cold.py.

    python -m benchmarks.speed [--seeds 40] [--long-runs-of-60 0]
"""

import argparse
from datetime import date

import numpy as np

from scalemodel.decision.forecast import Forecast, find_plan
from scalemodel.inference.posterior import r_hat, solve
from scalemodel.logbook.records import Boiler
from scalemodel.validation.simulated_boilers import simulate
from tests.builders import schedule

BOILER = Boiler("urn", 0.8, 93.0, date(2025, 1, 1), area_cm2=500.0)
DAYS_AHEAD = (0, 60, 200)
LONG_RUNS = 8


def invented(looks: int, every_days: int, tds_mg_l: float):
    """One simulated history with findings."""
    empty = schedule(BOILER, looks, every_days, tds_mg_l=tds_mg_l, litres_per_day=0.45)
    return simulate(solve(empty, particles=100).model, np.random.default_rng(5))[1]


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
    warm(5, 60, 160.0, given.seeds, LONG_RUNS)
    warm(15, 30, 110.0, given.seeds, LONG_RUNS)
    warm(60, 15, 70.0, max(6, given.seeds // 4), given.long_runs_of_60)
    warm(240, 4, 70.0, 3, 0)


if __name__ == "__main__":
    main()
