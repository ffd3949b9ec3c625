"""``add inspection --photo`` and what comes of it: the line, the history, out and in, and what is refused."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import file_of, noise, photograph, png, with_text_chunks

ROOT = Path(__file__).parents[2]
LOOK = ("add", "inspection", "kitchen", "2026-04-12", "1-2")


@pytest.fixture
def files(tmp_path, monkeypatch):
    """Three photographs and some files that are none, in the folder where the commands are given."""
    place = tmp_path / "camera"
    place.mkdir()
    monkeypatch.chdir(place)
    contents = {
        "a.jpg": photograph(1),
        "b.png": with_text_chunks(),
        "large.png": file_of(noise(1700, 1000), "PNG"),
        "notes.txt": b"not a picture",
        "short.jpg": photograph(1)[:-300],
        "bomb.png": png(60_000, 60_000),
    }
    for name, data in contents.items():
        (place / name).write_bytes(data)
    with (place / "film.jpg").open("wb") as file:
        file.truncate(20_000_001)
    return place


def test_a_look_is_recorded_with_its_photographs(busy_desk, files):
    said = busy_desk.do(*LOOK, "--photo", "a.jpg", "--photo", "b.png", "--photo", "large.png")
    assert said == "recorded inspection 6: kitchen, 2026-04-12, wall, grade 1 to 2, by eye, 3 photographs\n"
    said = busy_desk.do("amend", "6", "grade=2")
    assert said == "recorded inspection 7, which amends 6: kitchen, 2026-04-12, wall, grade 2, by eye, 3 photographs\n"
    assert busy_desk.do("history").count(", 3 photographs") == 2
    found = json.loads(busy_desk.do("history", "--json"))["entries"]
    assert [one["photographs"] for one in found] == [0] * 5 + [3, 3]
    assert "no fault found" in busy_desk.do("logbook", "verify")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("notes.txt", "expected a photograph as JPEG or PNG"),
        ("short.jpg", "expected a photograph as JPEG or PNG; this one is damaged"),
        ("bomb.png", "expected a photograph as JPEG or PNG of at most 40 million pixels"),
        ("film.jpg", "expected a photograph as JPEG or PNG of at most 20 MB"),
        ("none.jpg", "expected a file that can be read: No such file or directory"),
        (".", "expected a file that can be read: Is a directory"),
    ],
)
def test_what_is_no_photograph_is_one_line_and_nothing_is_stored(busy_desk, files, name, said):
    before = busy_desk.path.read_bytes()
    refusal = busy_desk.refuse(*LOOK, "--photo", "a.jpg", "--photo", name)
    assert refusal.removeprefix("error: ").startswith(f"--photo: '{name}' will not do; {said}")
    assert busy_desk.path.read_bytes() == before


def test_a_forgotten_photograph_is_added(busy_desk, files):
    said = busy_desk.do("amend", "5", "--photo", "a.jpg")
    assert (
        said == "recorded inspection 6, which amends 5: kitchen, 2025-04-12, wall, grade 1 to 2, by eye, 1 photograph\n"
    )
    assert busy_desk.refuse("amend", "6", "--photo", "a.jpg").startswith("record 6 has these photographs already")
    for words in (("amend", "6"), ("amend", "6", "grade=2", "--photo", "b.png")):
        assert busy_desk.refuse(*words).endswith("give FIELD=VALUE, or --photo FILE")
    assert "--photo: 'notes.txt' will not do" in busy_desk.refuse("amend", "6", "--photo", "notes.txt")
    assert "photographs of an inspection alone" in busy_desk.refuse("amend", "1", "--photo", "a.jpg")


def test_refused_photographs_leave_no_logbook_behind(desk, files):
    desk.refuse(*LOOK, "--photo", "notes.txt")
    assert not desk.path.exists()


def test_out_and_in(busy_desk, files, tmp_path):
    busy_desk.do(*LOOK, "--photo", "a.jpg")
    said = busy_desk.do("export", str(tmp_path / "out"))
    assert said.endswith(f", 1 photograph to {tmp_path / 'out'}\n")
    other = type(busy_desk)(tmp_path / "other.sqlite3")
    assert json.loads(other.do("import", str(tmp_path / "out"), "--json"))["photographs"] == 1
    with Logbook.open(other.path) as book, Logbook.open(busy_desk.path) as first:
        hashes = [[hashes for _, hashes in one.pictured()] for one in (book, first)]
    assert hashes[0] == hashes[1] != []
    (tmp_path / "out" / "photos" / "2026-04-12-kitchen-wall-1.jpg").unlink()
    again = type(busy_desk)(tmp_path / "again.sqlite3")
    result = again.run("import", str(tmp_path / "out"))
    assert result.exit_code == 2
    assert "inspections.csv row 3, photo: '2026-04-12-kitchen-wall-1.jpg' will not do" in result.stderr
    assert not again.path.exists()


def test_pillow_is_loaded_only_for_a_photograph(busy_desk, files):
    code = (
        "import sys\nfrom scalemodel.cli.main import main\ntry:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
    )
    code += "print('PIL' in sys.modules)"
    for more, loaded in (((), "False"), (("--photo", "a.jpg"), "True")):
        words = ["--logbook", str(busy_desk.path), *LOOK, "--note", loaded, *more]
        done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=True)
        assert done.stdout.splitlines()[-1] == loaded
