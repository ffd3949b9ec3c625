"""Settings of the whole suite: one day is today whatever the clock says; slow tests only when asked for."""

import os

import pytest

from scalemodel.logbook import clock

os.environ[clock.VARIABLE] = "2026-11-25"  # in programs that a test starts, too


def pytest_addoption(parser):
    parser.addoption("--run-slow", action="store_true", help="run the tests marked slow too")


def pytest_collection_modifyitems(config, items):
    if config.getoption("--run-slow"):
        return
    for item in items:
        if "slow" in item.keywords:
            item.add_marker(pytest.mark.skip(reason="slow; --run-slow runs it"))
