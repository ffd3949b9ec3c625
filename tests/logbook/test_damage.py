"""A logbook that a disk or another program has damaged: every operation says so in a line, or was not touched by it."""

import random
from datetime import date

import pytest

from scalemodel.errors import LogbookError, ScalemodelError
from scalemodel.logbook.csv_folder import export_folder
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import LOOK, TODAY, filled, today

FLIPS = 150


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """The bytes of a logbook with one record of each kind."""
    path = tmp_path_factory.mktemp("sound") / "logbook.sqlite3"
    filled(path).close()
    return path.read_bytes()


def put(folder, content):
    path = folder / "logbook.sqlite3"
    for one in folder.glob("logbook.sqlite3*"):
        one.unlink()
    path.write_bytes(content)
    return path


def read_all(path):
    with Logbook.open(path, today=today) as book:
        book.history()
        book.facts("kitchen", TODAY)


def verified(path):
    with Logbook.open(path, today=today) as book:
        return book.verify().faults


def operations(path, folder):
    """Everything that may be done with a logbook, one by one."""

    def done(what, write=False):
        with Logbook.open(path, write=write, today=today) as book:
            what(book)

    yield lambda: done(Logbook.history)
    yield lambda: done(Logbook.verify)
    yield lambda: done(lambda book: book.facts("kitchen", TODAY))
    yield lambda: done(lambda book: book.facts("kitchen", date(2026, 6, 1)))
    yield lambda: done(lambda book: export_folder(book, folder / "out"))
    yield lambda: done(lambda book: book.backup(folder / "copy.sqlite3", replace=True))
    yield lambda: done(lambda book: book.amend(LOOK, {"note": "again"}), write=True)
    yield lambda: done(lambda book: book.strike(LOOK, "a trial"), write=True)


def test_a_flipped_bit_is_told_in_a_line_or_does_no_harm(sound, tmp_path):
    chance, told = random.Random(20260412), 0
    in_use = [at for at, byte in enumerate(sound) if byte]
    for _ in range(FLIPS):
        content = bytearray(sound)
        for at in chance.choices(in_use, k=chance.choice([1, 4])):
            content[at] ^= 1 << chance.randrange(8)
        path = put(tmp_path, content)
        for operation in operations(path, tmp_path):
            try:
                operation()
            except ScalemodelError as error:
                told += isinstance(error, LogbookError)
    assert told > FLIPS / 3


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        (b"2026-04-12", b"202>-04-12"),  # no date
        (b"2026-04-12", b"2026-04-1\xff"),  # no text
        (b"gauge", b"gau\xffe"),
        (b"inspection2026", b"inspectioN2026"),  # a kind that there is not
        (b"inspection2026", b"inspectio\xff2026"),
        (b"inspection2026", b"water_test2026"),  # a kind of which it has no line
    ],
)
def test_damage_within_a_record_is_told_and_found(sound, tmp_path, was, becomes):
    assert was in sound
    path = put(tmp_path, sound.replace(was, becomes))
    with pytest.raises(LogbookError, match="damaged"):
        read_all(path)
    assert verified(path)


def test_a_number_out_of_its_range_is_no_fact_but_can_be_struck(sound, tmp_path):
    path = put(tmp_path, sound)
    with Logbook.open(path, write=True, today=today) as book:
        book._connection.execute("PRAGMA ignore_check_constraints = ON")
        book._connection.execute("DROP TRIGGER inspection_no_update")
        book._connection.execute("UPDATE inspection SET grade_high = 77")
        with pytest.raises(LogbookError, match=r"an entry of 'inspection' .*grade_high"):
            book.facts("kitchen", TODAY)
        book.strike(LOOK, "damaged")
        assert book.facts("kitchen", TODAY).inspections == ()
