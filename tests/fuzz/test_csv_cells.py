"""CSV files with hostile cells, headers, rows and bytes: read for what they say, or refused with nothing done.

The folder that is spoilt is an export of the workshop's logbook, which holds every kind of record.
"""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

from click.testing import CliRunner, Result
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.cli.main import main
from scalemodel.logbook.csv_folder import OUR_FILES
from scalemodel.logbook.fields import rule
from scalemodel.logbook.kinds import KINDS
from scalemodel.logbook.store import Logbook
from tests.fuzz.depth import fuzzed
from tests.fuzz.hostile import TEXTS
from tests.fuzz.sandbox import contents, workshop
from tests.fuzz.test_commands import said_properly, strict, touched
from tests.fuzz.words import by_rule

FILES = st.sampled_from(list(OUR_FILES))
PLACE = st.integers(0, 400)
"""Which row, column or byte: counted round if there are fewer."""

FAULT = re.compile(r"\s*(?:[^\n]+\.(?:csv|CSV)( row \d+| line \d+)?(, [^\n]*)?: [^\n]+|\.\.\. and \d+ more)")

BYTES = (
    b"\x00", b"\xff", b"\xef\xbb\xbf", b"\xff\xfe", b"\xc3", b"\xed\xa0\x80", b'"', b'""', b'"\n', b"\r", b"\n",
    b"\r\n", b",", b";", b"\t", b"'", b"\x1a", b"\x0c", b"\xe2\x80\xa8", b"\xc2\x85", b"x" * 140_000, b"," * 5000,
    b"sep=;\n", b"=1+1", b"\xf4\x90\x80\x80", b"#", b"\\",
)  # fmt: skip
ENCODINGS = ("utf-16", "utf-16-le", "utf-32", "utf-8-sig", "latin-1", "cp1252", "cp037", "utf-7")

Table = list[list[str]]


def cell(kind: str, column: str) -> st.SearchStrategy[str]:
    """A cell for a column: anything, or what its field may well hold."""
    return TEXTS | by_rule(rule(KINDS[kind], column))


@st.composite
def spoilt_tables(draw, name: str, table: Table) -> Table:
    """A table with one thing or several about it changed: cells, a header, whole rows."""
    table = [list(row) for row in table]
    kind, columns = OUR_FILES[name].name, list(table[0])
    for _ in range(draw(st.integers(1, 3))):
        row, column = draw(PLACE) % len(table), draw(PLACE) % len(columns)
        what = draw(
            st.sampled_from(("cell", "cell", "cell", "cell", "twice", "gone", "longer", "column", "blank", "move"))
        )
        if what == "cell" or (what == "move" and len(table) < 2):
            table[row] = [*table[row], *[""] * (len(columns) - len(table[row]))]
            table[row][column] = draw(cell(kind, columns[column]) if row else TEXTS)
        elif what == "twice":
            table.insert(row, list(table[row]))
        elif what == "gone" and len(table) > 1:
            del table[row]
        elif what == "longer":
            table[row].append(draw(TEXTS))
        elif what == "column":
            table = [[one for k, one in enumerate(line) if k != column] for line in table]
            columns = [one for k, one in enumerate(columns) if k != column] or ["x"]
        elif what == "blank":
            table.insert(row, [""] * draw(st.integers(0, 3)))
        else:
            table.append(table.pop(row))
    return table


def as_csv(table: Table, separator: str, end: str) -> bytes:
    """A table as a file; broken Unicode becomes bytes that are no UTF-8."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=separator, lineterminator=end).writerows(table)
    return text.getvalue().encode("utf-8", "surrogatepass")


@st.composite
def spoilt_bytes(draw, data: bytes) -> bytes:
    """A file with bytes put in, cut off, or all of it in another encoding."""
    what = draw(st.sampled_from(("put in", "put in", "over", "cut off", "encoding", "separator")))
    at = draw(st.integers(0, len(data)))
    if what == "put in":
        return data[:at] + draw(st.sampled_from(BYTES) | st.binary(max_size=6)) + data[at:]
    if what == "over":
        return data[:at] + draw(st.binary(min_size=1, max_size=3)) + data[at + 1 :]
    if what == "cut off":
        return data[:at]
    if what == "encoding":
        return data.decode("utf-8", "replace").encode(draw(st.sampled_from(ENCODINGS)), "replace")
    return data.replace(b",", draw(st.sampled_from((b";", b"\t", b"|", b";;", b", "))))


@st.composite
def spoil(draw, folder: Path) -> dict[str, bytes]:
    """Files of the folder as they are to be instead; other names now and then."""
    spoilt = {}
    for name in draw(st.lists(FILES, min_size=1, max_size=2, unique=True)):
        data = (folder / name).read_bytes()
        if draw(st.integers(0, 2)) < 2:
            table = list(csv.reader(io.StringIO(data.decode(), newline="")))
            end = draw(st.sampled_from(("\n", "\r\n", "\r")))
            data = as_csv(draw(spoilt_tables(name, table)), draw(st.sampled_from(",;\t")), end)
        if draw(st.integers(0, 5)) > 3:
            data = draw(spoilt_bytes(data))
        spoilt[name] = data
    if draw(st.integers(0, 9)) == 7:
        spoilt[draw(st.sampled_from(("Boilers.csv", "boiler.csv", "uses.CSV", "x.csv", "notes.txt")))] = b"boiler\n\xff"
    return spoilt


def ran(logbook: str, *words: str) -> Result:
    result = CliRunner().invoke(main, ["--logbook", logbook, *words, "--json"])
    said_properly(result, True)
    return result


def refused_with_places(result: Result) -> None:
    """A refusal lists its faults, each with its file and, but for what concerns a file as a whole, its row."""
    body = strict(result.stdout)
    assert body["error"].startswith(("nothing was imported from ", "'records' holds none "))
    assert body.get("faults", []) or body["error"].startswith("'records' holds none ")
    for fault in body.get("faults", []):
        assert FAULT.fullmatch(fault), fault
        assert len(fault) < 1000, fault[:2000]


def records_of(logbook: str) -> dict:
    with Logbook.open(logbook) as book:
        assert book.verify().faults == ()
        return {kind: book.records(kind) for kind in KINDS}


@fuzzed(60)
@given(st.data(), st.sampled_from(((), ("--again",), ("--only-new",))))
def test_a_spoilt_folder_is_read_or_refused_whole(data, how):
    with workshop() as root:
        folder = Path("records")
        spoilt = data.draw(spoil(folder))
        for name, content in spoilt.items():
            (folder / name).write_bytes(content)
        before = contents(root)

        fresh = ran("fresh.sqlite3", "import", "records", *how)
        if fresh.exit_code == 2:
            refused_with_places(fresh)
            assert touched(before, contents(root)) == []
        else:
            first = records_of("fresh.sqlite3")
            counts = strict(fresh.stdout)["records"]
            assert counts == {kind: len(held) for kind, held in first.items()}
            assert ran("fresh.sqlite3", "export", "again").exit_code == 0
            assert ran("second.sqlite3", "import", "again", "--again").exit_code == 0
            assert records_of("second.sqlite3") == first
            assert ran("second.sqlite3", "export", "third").exit_code == 0
            assert all((Path("third") / name).read_bytes() == (Path("again") / name).read_bytes() for name in OUR_FILES)

        before = contents(root)
        beside = ran("logbook.sqlite3", "import", "records", *how)
        records_of("logbook.sqlite3")
        if beside.exit_code == 2:
            refused_with_places(beside)
            assert touched(before, contents(root)) == []
        else:
            assert {path.name for path in touched(before, contents(root))} <= {"logbook.sqlite3"}
