"""Names and places of files: nothing leaves its folder, nothing is half written."""

import unicodedata
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scalemodel.errors import BadValueError
from scalemodel.report.files import INDEX, page_names, write_all

NAMES = st.lists(st.text(min_size=1, max_size=80), unique=True, max_size=12)
AWKWARD = [
    "..",
    "../x",
    "/etc/passwd",
    "a\\b",
    "C:x",
    "index",
    "INDEX",
    "con",
    "nul.txt",
    ".",
    "-",
    "é",
    "e\u0301",
    "\U0001f9fc" * 80,
    "ﬁ",
    "fi",
    "x" * 80,
    "漢" * 80,
]


@given(NAMES | st.permutations(AWKWARD).map(lambda names: names[:9]))
def test_every_boiler_has_a_file_of_its_own_in_the_folder(names):
    found = page_names(names)
    assert list(found) == names
    for file in found.values():
        assert Path(file).name == file
        assert not {"/", "\\", ":", "\0"} & set(file)
        assert file.endswith(".html")
        assert not file.startswith(".")
        assert len(file.encode()) <= 200
        assert file.casefold() != INDEX
    alike = [unicodedata.normalize("NFKC", file).casefold() for file in found.values()]
    assert len(set(alike)) == len(names)


def test_marks_that_somebody_took_beforehand_are_marked_again():
    taken = page_names(["Mill", "mill"])["mill"].removesuffix(".html")
    found = page_names(["Mill", "mill", taken])
    assert len(set(found.values())) == 3


def test_pages_are_written_whole_or_not_at_all(tmp_path, monkeypatch):
    folder = tmp_path / "deep" / "reports"
    assert write_all(folder, {"a.html": "one", "b.html": "zwölf"}) == [folder / "a.html", folder / "b.html"]
    assert (folder / "b.html").read_text(encoding="utf-8") == "zwölf"
    whole = Path.write_bytes

    def full(self, content):
        if content == b"last":
            whole(self, content[:2])
            raise OSError(28, "No space left on device")
        return whole(self, content)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(BadValueError, match="No space left"):
        write_all(folder, {"a.html": "two", "b.html": "last"})
    assert sorted(p.name for p in folder.iterdir()) == ["a.html", "b.html"]
    assert (folder / "a.html").read_text(encoding="utf-8") == "one"


def test_a_file_is_no_folder(tmp_path):
    (tmp_path / "x").write_text("", encoding="utf-8")
    for place in (tmp_path / "x", tmp_path / "x" / "y"):
        with pytest.raises(BadValueError, match="a folder where files can be written"):
            write_all(place, {"a.html": "one"})
