"""One profile for every fuzzed test: the same examples on every run, and no clock."""

from hypothesis import HealthCheck, settings

FACTOR = 1
"""Set by conftest.py before the tests of this folder are read."""


def fuzzed(examples: int, deeper: int | None = None) -> settings:
    """So many examples, ten times as many (or ``deeper`` times) with ``--run-slow``."""
    return settings(
        max_examples=examples * (FACTOR if deeper is None or FACTOR == 1 else deeper),
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
