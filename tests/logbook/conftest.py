import pytest

from tests.logbook.samples import filled


@pytest.fixture
def book():
    """A logbook in memory with one record of each kind."""
    with filled() as opened:
        yield opened


@pytest.fixture
def path(tmp_path):
    """Where a logbook with one record of each kind lies."""
    where = tmp_path / "logbook.sqlite3"
    filled(where).close()
    return where
