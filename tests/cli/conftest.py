import pytest

from tests.cli.runner import START, Desk


@pytest.fixture
def desk(tmp_path):
    """A desk without a logbook yet."""
    return Desk(tmp_path / "deep" / "logbook.sqlite3")


@pytest.fixture
def busy_desk(desk):
    """A desk whose logbook holds records 1 to 5."""
    for words in START:
        desk.do(*words)
    return desk
