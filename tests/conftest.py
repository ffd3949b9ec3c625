"""Settings of the whole suite: one day is today whatever the clock says; one thread of linear algebra a worker, and as
many workers as cores; slow tests only when asked for."""

import os
import sys
from pathlib import Path

import pytest

from scalemodel.cli.main import LINEAR_ALGEBRA_THREADS
from scalemodel.logbook import clock

os.environ[clock.VARIABLE] = "2026-11-25"  # in programs that a test starts, too
for name in LINEAR_ALGEBRA_THREADS:  # before numpy is loaded, and in the workers
    os.environ.setdefault(name, "1")


def pytest_addoption(parser):
    parser.addoption("--run-slow", action="store_true", help="run the tests marked slow too")


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config):
    """A run of more than one file is shared out among workers, one a core, where pytest-xdist is installed.

    Not where ``-n`` says how many (``-n0``: none), nor for one file, nor to step through with ``--pdb``.
    """
    option = config.option
    if hasattr(config, "workerinput"):  # this is a worker
        return
    asked = getattr(option, "numprocesses", 0) is not None or option.dist != "no" or option.tx
    one_file = len(config.args) == 1 and Path(config.args[0].partition("::")[0]).is_file()
    if not (asked or one_file or option.usepdb or option.trace or option.collectonly):
        option.numprocesses, option.dist = "auto", "worksteal"


def pytest_collection_modifyitems(config, items):
    if config.getoption("--run-slow"):
        return
    for item in items:
        if "slow" in item.keywords:
            item.add_marker(pytest.mark.skip(reason="slow; --run-slow runs it"))


@pytest.fixture(autouse=True, scope="session")
def user_folder(tmp_path_factory):
    """What is kept in the user's folder goes to one of its own."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.mktemp("user")))
        yield


@pytest.fixture(autouse=True)
def nothing_kept():
    """No test finds what another drew."""
    asking = sys.modules.get("scalemodel.decision.asking")
    if asking is not None:
        asking.forget()
