"""How deep the fuzzing goes: ten times deeper with ``--run-slow``."""

from tests.fuzz import depth


def pytest_configure(config):
    depth.FACTOR = 10 if config.getoption("--run-slow") else 1
