"""A record sent twice under its key is stored once; a key is never another record's."""

import sqlite3
import threading
import uuid
from dataclasses import replace

import pytest

from scalemodel.errors import BadValueError, RecordClashError
from scalemodel.logbook.records import Water
from scalemodel.logbook.store import Logbook
from tests.logbook.samples import DESCALE, LOOK, RECORDS, dump, today

KEY = str(uuid.UUID(int=7))
AGAIN = replace(RECORDS[LOOK - 1], note="by the window")


def test_sent_twice_it_is_stored_once(book):
    number = book.add(AGAIN, key=KEY)
    before = dump(book)
    assert book.add(AGAIN, key=KEY) == number
    assert book.add(replace(AGAIN, note="  by the window "), key=KEY) == number  # the same once tidied
    assert dump(book) == before


def test_other_records_have_other_keys_or_none(book):
    numbers = [book.add(Water(f"water {k}"), key=f"{KEY}-{k}") for k in range(3)]
    numbers += [book.add(Water(f"spring {k}")) for k in range(3)]
    assert len(set(numbers)) == 6


@pytest.mark.parametrize("other", [replace(AGAIN, grade_high=3), RECORDS[DESCALE - 1]])
def test_a_key_is_never_another_records(book, other):
    number = book.add(AGAIN, key=KEY)
    before = dump(book)
    with pytest.raises(RecordClashError, match=rf"its key is that of record {number}, which says some"):
        book.add(other, key=KEY)
    assert dump(book) == before


def test_what_became_of_the_record_since_does_not_matter(book):
    first = book.add(AGAIN, key=KEY)
    second = book.amend(first, {"grade": "3"}, key=f"{KEY}-2")
    book.strike(second, "the wrong boiler")
    before = dump(book)
    assert book.add(AGAIN, key=KEY) == first
    assert book.amend(first, {"grade": "3"}, key=f"{KEY}-2") == second
    assert dump(book) == before


def test_an_amendment_sent_twice_is_stored_once_and_its_key_is_no_other_ones(book):
    second = book.amend(LOOK, {"grade": "3"}, key=KEY)
    before = dump(book)
    assert book.amend(LOOK, {"grade": "3"}, "said again", key=KEY) == second
    for number, changes in ((LOOK, {"grade": "4"}), (second, {"grade": "3"}), (DESCALE, {"scope": "partial"})):
        with pytest.raises(RecordClashError, match="its key is that of record"):
            book.amend(number, changes, key=KEY)
    with pytest.raises(RecordClashError, match="its key is that of record"):
        book.add(replace(RECORDS[LOOK - 1], grade_low=3, grade_high=3), key=KEY)
    assert dump(book) == before


def test_a_twin_under_a_key_of_its_own_is_questioned_as_ever(book):
    with pytest.raises(RecordClashError, match="says just this already"):
        book.add(RECORDS[LOOK - 1], key=KEY)
    assert book.add(RECORDS[LOOK - 1], again=True, key=KEY) == len(RECORDS) + 1


@pytest.mark.parametrize("key", ["", "short", "x" * 81, "a key with blanks", "a;key", "kéy-of-its-own", 12345678])
def test_what_is_no_key(book, key):
    before = dump(book)
    with pytest.raises(BadValueError, match=r"key: .* expected 8 to 80 letters"):
        book.add(AGAIN, key=key)
    assert dump(book) == before


def test_the_database_itself_holds_keys_apart(book):
    book.add(AGAIN, key=KEY)
    with pytest.raises(sqlite3.IntegrityError, match="UNIQUE"):
        book._connection.execute("INSERT INTO entry (kind, entered_at, key) VALUES ('use', 'x', ?)", (KEY,))


def test_many_hands_that_send_the_same_at_once_store_it_once(path):
    gate, numbers = threading.Barrier(6), []

    def send() -> None:
        with Logbook.open(path, write=True, today=today) as book:
            gate.wait()
            numbers.append(book.add(AGAIN, key=KEY))

    hands = [threading.Thread(target=send) for _ in range(6)]
    for hand in hands:
        hand.start()
    for hand in hands:
        hand.join()
    assert numbers == [len(RECORDS) + 1] * 6
    with Logbook.open(path, today=today) as book:
        assert len(book.records("inspection")) == 2
        assert not book.verify().faults
