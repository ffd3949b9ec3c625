import shutil

import pytest

from tests.cli.runner import START, Desk


@pytest.fixture
def desk(tmp_path):
    """A desk without a logbook yet."""
    return Desk(tmp_path / "deep" / "logbook.sqlite3")


@pytest.fixture(scope="session")
def begun(tmp_path_factory):
    """A closed logbook file with records 1 to 5, to be copied."""
    first = Desk(tmp_path_factory.mktemp("begun") / "logbook.sqlite3")
    for words in START:
        first.do(*words)
    return first.path


@pytest.fixture
def busy_desk(desk, begun):
    """A desk whose logbook holds records 1 to 5."""
    desk.path.parent.mkdir()
    shutil.copyfile(begun, desk.path)
    return desk
