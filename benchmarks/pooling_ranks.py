"""Where the truth of many invented fleets stands among the draws of their pools: simulation-based calibration.

    .venv/bin/python benchmarks/pooling_ranks.py [FLEETS] [SEED] [BOILERS] [LOOKS]

A fleet of eight takes half a minute of a core. Faults are those of `scalemodel calibrate`: a lean or a coverage past
four standard errors, or ranks that are not flat.
"""

from __future__ import annotations

import sys

from scalemodel.fleet.calibration import BOILERS, LOOKS, calibrate


def main(fleets: int = 60, seed: int = 77, boilers: int = BOILERS, looks: int = LOOKS) -> None:
    """Print a row a kind of unknown: its lean in standard errors, and how often the 80 % interval held the truth."""

    def done(share: float) -> None:
        if sys.stderr.isatty():
            print(f"\r{share:.0%}", end="" if share < 1.0 else "\n", file=sys.stderr, flush=True)

    found = calibrate(fleets, seed, boilers, looks, done=done)
    print(f"{found.fleets} fleets of {boilers} boilers with {looks} looks each, {found.settled} settled")
    print(f"{'':24} fleets   lean   80 % held   faults")
    for one in found.histograms:
        held = next(c.share for c in one.coverage if c.level == 0.8)
        faults = "; ".join(one.faults) or "none"
        print(f"{one.name:24} {one.replications:6} {one.lean_z:+6.1f} {held:10.0%}    {faults}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
