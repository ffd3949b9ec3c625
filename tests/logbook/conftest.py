import pytest

from tests.logbook.samples import filled


@pytest.fixture
def book():
    """A logbook in memory with one record of each kind."""
    with filled() as opened:
        yield opened
