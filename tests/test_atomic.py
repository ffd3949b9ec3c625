"""How a file reaches its place: whole, or not at all, and nothing is left beside it."""

import os
from pathlib import Path

import pytest

from scalemodel import atomic


def names(folder: Path) -> list[str]:
    return sorted(one.name for one in folder.iterdir())


def leave(part: Path, folder: bool) -> None:
    """Something at a path, and beside it, as of a program that fails midway."""
    if folder:
        part.mkdir()
        (part / "inner").write_text("x")
    else:
        part.write_text("x")
    part.with_name(f"{part.name}-wal").write_text("x")
    raise OSError(28, "No space left on device")


@pytest.mark.parametrize("folder", [True, False])
def test_what_is_left_beside_a_place_goes_with_the_files_named_after_it(tmp_path, folder):
    with pytest.raises(OSError, match="No space"), atomic.beside(tmp_path / "book") as part:
        leave(part, folder)
    assert part.parent == tmp_path
    assert names(tmp_path) == []


def test_a_place_is_kept_unless_it_is_to_be_replaced(tmp_path):
    place = tmp_path / "book"
    place.write_text("somebody else's")
    with atomic.beside(place) as part:
        atomic.put(part, b"ours")
        with pytest.raises(FileExistsError):
            atomic.move(part, place, replace=False)
    assert names(tmp_path) == ["book"]
    assert place.read_text() == "somebody else's"
    with atomic.beside(place) as part:
        atomic.put(part, b"ours")
        atomic.move(part, place)
    assert place.read_text() == "ours"
    assert names(tmp_path) == ["book"]


@pytest.mark.parametrize("taken", [True, False])
def test_a_disk_without_hard_links_keeps_a_file_too(tmp_path, monkeypatch, taken):
    def no_links(part, place):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    place = tmp_path / "book"
    with atomic.beside(place) as part:
        atomic.put(part, b"ours")
        if taken:
            place.write_text("somebody else's")
            with pytest.raises(FileExistsError):
                atomic.move(part, place, replace=False)
        else:
            atomic.move(part, place, replace=False)
    assert place.read_text() == ("somebody else's" if taken else "ours")
    assert names(tmp_path) == ["book"]


def test_of_several_files_none_is_moved_unless_all_are_written(tmp_path):
    (tmp_path / "a").write_text("old")
    with pytest.raises(OSError, match="No such file"):
        atomic.write_files({tmp_path / "a": b"new", tmp_path / "missing" / "b": b"new"})
    assert (tmp_path / "a").read_text() == "old"
    atomic.write_files({tmp_path / "a": b"new", tmp_path / "b": b"new"})
    assert [(tmp_path / name).read_bytes() for name in names(tmp_path)] == [b"new", b"new"]


def test_a_whole_folder_takes_its_name_at_once(tmp_path):
    place = tmp_path / "tables"
    with atomic.beside(place) as part:
        part.mkdir()
        atomic.put(part / "one.csv", b"x\n")
        assert not place.exists()
        atomic.move(part, place)
    assert names(tmp_path) == ["tables"]
    assert (place / "one.csv").read_bytes() == b"x\n"
