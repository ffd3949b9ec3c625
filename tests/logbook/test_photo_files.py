"""Photographs beside the CSV files: out and in is the identity; no way out of the folder; all or nothing."""

import os
import shutil
from dataclasses import replace
from datetime import date

import pytest

from scalemodel.errors import ImportRefusedError, LogbookError
from scalemodel.logbook.csv_folder import export_folder, import_folder
from scalemodel.logbook.photographs import prepare
from scalemodel.logbook.records import Boiler, Inspection, Site
from scalemodel.logbook.store import Logbook
from tests.logbook.pictures import photograph, png, with_text_chunks
from tests.logbook.samples import LOOK, RECORDS, dump, filled, today

SEEN = replace(RECORDS[LOOK - 1], note="by lamp")
HEAD = "boiler,date,site,grade_low,photos\n"


@pytest.fixture
def pictured(book):
    """A logbook with two looks that have photographs, one of them amended."""
    book.add(SEEN, photos=[photograph(1), photograph(2)])
    number = book.add(replace(SEEN, note="a day on", date=date(2026, 4, 13)), photos=[with_text_chunks()])
    book.amend(number, {"grade": "2"})
    return book


def folder_with(tmp_path, cell: str, **files: bytes):
    """A folder of one boiler and one look that names photographs, and these."""
    place = tmp_path / "in"
    (place / "photos").mkdir(parents=True)
    (place / "boilers.csv").write_text("boiler,volume_l,temperature_c,installed_on\nkitchen,0.75,93,2026-01-10\n")
    (place / "inspections.csv").write_text(f'{HEAD}kitchen,2026-04-12,wall,1,"{cell}"\n')
    for name, data in files.items():
        (place / "photos" / f"{name}.jpg").write_bytes(data)
    return place


def refused(place) -> list[str]:
    with Logbook.in_memory(today) as book:
        before = dump(book)
        with pytest.raises(ImportRefusedError) as caught:
            import_folder(book, place)
        assert dump(book) == before
    assert all("\n" not in fault for fault in caught.value.faults)
    return caught.value.faults


def jpegs(book) -> list[list[bytes]]:
    return [[book.photograph(one).jpeg for one in hashes] for _, hashes in book.pictured()]


# ---- out and in


def test_out_and_in_is_the_identity(pictured, tmp_path):
    assert export_folder(pictured, tmp_path / "out").photographs == 3
    names = sorted(one.name for one in (tmp_path / "out" / "photos").iterdir())
    assert names == [
        "2026-04-12-kitchen-gauge-1.jpg",
        "2026-04-12-kitchen-gauge-2.jpg",
        "2026-04-13-kitchen-gauge-1.jpg",
    ]
    with Logbook.in_memory(today) as other:
        assert import_folder(other, tmp_path / "out").photographs == 3
        assert jpegs(other) == jpegs(pictured)
        assert other.records("inspection") == pictured.records("inspection")
        assert not other.verify().faults
        export_folder(other, tmp_path / "again")
    files = sorted(one.relative_to(tmp_path / "out") for one in (tmp_path / "out").rglob("*") if one.is_file())
    assert len(files) == 14
    for one in files:
        assert (tmp_path / "again" / one).read_bytes() == (tmp_path / "out" / one).read_bytes()


def test_without_photographs_an_export_is_as_it_was(book, tmp_path):
    export_folder(book, tmp_path / "out")
    assert not (tmp_path / "out" / "photos").exists()
    assert "photos" not in (tmp_path / "out" / "inspections.csv").read_text()


def test_looks_of_one_day_and_names_that_look_alike_have_files_of_their_own(book, tmp_path):
    for name in ("Kitchen", "kitchen 2", "厨房", "浴室", "kitchen-2"):
        if name != "Kitchen":
            book.add(Boiler(name, 1.0, 93.0, date(2026, 1, 10)))
        boiler = "kitchen" if name == "Kitchen" else name
        for count in (1, 2):
            look = Inspection(boiler, date(2026, 5, 20), "wall", 1, 1, note=str(count))
            book.add(look, photos=[photograph(len(book.history()))])
    export_folder(book, tmp_path / "out")
    assert len(list((tmp_path / "out" / "photos").iterdir())) == 10
    with Logbook.in_memory(today) as other:
        import_folder(other, tmp_path / "out")
        assert jpegs(other) == jpegs(book)


def test_an_export_over_an_earlier_one_leaves_just_what_is_current(pictured, tmp_path):
    out = tmp_path / "out"
    export_folder(pictured, out)
    pictured.strike(next(look.number for look, hashes in pictured.pictured() if len(hashes) == 2), "another boiler's")
    export_folder(pictured, out)
    assert [one.name for one in (out / "photos").iterdir()] == ["2026-04-13-kitchen-gauge-1.jpg"]
    pictured.strike(next(look.number for look, hashes in pictured.pictured() if hashes), "another boiler's")
    export_folder(pictured, out)
    assert not (out / "photos").exists()


@pytest.mark.parametrize("foreign", ["holiday.jpg", "link.jpg", "deep"])
def test_a_folder_that_holds_anything_else_is_left_alone(pictured, tmp_path, foreign):
    out = tmp_path / "out"
    export_folder(pictured, out)
    kept = next((out / "photos").iterdir())
    if foreign == "holiday.jpg":
        (out / "photos" / foreign).write_bytes(photograph(99))
    elif foreign == "link.jpg":
        (out / "photos" / foreign).symlink_to(kept)
    else:
        (out / "photos" / foreign).mkdir()
    before = sorted(out.rglob("*"))
    with pytest.raises(LogbookError, match=f"holds '{foreign}', which is no photograph of this logbook"):
        export_folder(pictured, out)
    assert sorted(out.rglob("*")) == before


def test_photographs_are_not_written_through_a_link(pictured, tmp_path):
    out, elsewhere = tmp_path / "out", tmp_path / "elsewhere"
    export_folder(filled(), out)
    elsewhere.mkdir()
    (out / "photos").symlink_to(elsewhere)
    with pytest.raises(LogbookError, match="is no folder of photographs"):
        export_folder(pictured, out)
    assert not list(elsewhere.iterdir())


def test_a_disk_that_fills_leaves_no_export(pictured, tmp_path, monkeypatch):
    monkeypatch.setattr("scalemodel.atomic.force", lambda path: (_ for _ in ()).throw(OSError(28, "No space left")))
    with pytest.raises(LogbookError, match="No space left"):
        export_folder(pictured, tmp_path / "out")
    assert [one.name for one in tmp_path.iterdir() if not one.name.startswith("logbook")] == []


# ---- in


def test_photographs_of_any_program_are_read(tmp_path):
    place = folder_with(tmp_path, "b.jpg ; a.jpg;", a=photograph(1), b=with_text_chunks())
    (place / "photos" / "Thumbs.db").write_bytes(b"x")
    with Logbook.in_memory(today) as book:
        assert import_folder(book, place).photographs == 2
        assert jpegs(book) == [[prepare(with_text_chunks()).jpeg, prepare(photograph(1)).jpeg]]


@pytest.mark.parametrize(
    "name",
    ["../secret.jpg", "..", ".", "/etc/passwd", "photos/a.jpg", "..\\secret.jpg", "C:secret.jpg", "a.jpg; A.JPG"],
)
def test_there_is_no_way_out_of_the_folder_and_none_is_named_twice(tmp_path, name):
    place = folder_with(tmp_path, name, a=photograph(1))
    (place / "secret.jpg").write_bytes(photograph(2))
    faults = refused(place)
    assert faults[0].startswith("inspections.csv row 2, photos: ")
    assert "expected names of files in photos/, each once, with ';' between them" in faults[0]


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"no picture", "expected a photograph as JPEG or PNG"),
        (photograph()[:-300], "this one is damaged"),
        (png(60_000, 60_000), "of at most 40 million pixels"),
        (photograph() + bytes(20_000_000), "of at most 20 MB"),
    ],
)
def test_one_bad_photograph_and_nothing_is_imported(tmp_path, data, said):
    (fault,) = refused(folder_with(tmp_path, "a.jpg;b.jpg", a=photograph(1), b=data))
    assert fault.startswith("inspections.csv row 2, photo: 'b.jpg' will not do; expected")
    assert said in fault


def test_links_pipes_folders_and_what_is_missing(tmp_path):
    place = folder_with(tmp_path, "a.jpg")
    secret = tmp_path / "secret.jpg"
    secret.write_bytes(photograph(2))
    (place / "photos" / "a.jpg").symlink_to(secret)
    assert "not a link" in refused(place)[0]
    (place / "photos" / "a.jpg").unlink()
    assert "No such file" in refused(place)[0]
    (place / "photos" / "a.jpg").mkdir()
    assert "directory" in refused(place)[0]
    if hasattr(os, "mkfifo"):
        (place / "photos" / "a.jpg").rmdir()
        os.mkfifo(place / "photos" / "a.jpg")
        assert "not a pipe" in refused(place)[0]


def test_a_folder_of_photographs_that_is_a_link(tmp_path):
    place = folder_with(tmp_path, "a.jpg", a=photograph(1))
    shutil.move(place / "photos", tmp_path / "elsewhere")
    (place / "photos").symlink_to(tmp_path / "elsewhere")
    assert "in a folder photos/ that is no link" in refused(place)[0]


def test_a_photograph_that_no_row_names_is_not_left_behind_unseen(tmp_path):
    place = folder_with(tmp_path, "a.jpg", a=photograph(1), lost=photograph(2))
    assert refused(place) == ["photos/lost.jpg: no row of inspections.csv names it; name it in its column 'photos'"]


def test_two_looks_may_share_a_photograph(tmp_path):
    place = folder_with(tmp_path, "a.jpg", a=photograph(1))
    with (place / "inspections.csv").open("a") as file:
        file.write("kitchen,2026-04-13,wall,1,a.jpg\n")
    with Logbook.in_memory(today) as book:
        import_folder(book, place)
        assert [len(hashes) for _, hashes in book.pictured()] == [1, 1]
        assert book._connection.execute("SELECT count(*) FROM photograph").fetchone() == (1,)


def test_a_grown_folder_is_read_again(tmp_path):
    place = folder_with(tmp_path, "a.jpg", a=photograph(1), b=photograph(2))
    (place / "photos" / "b.jpg").rename(place / "b.jpg")
    with Logbook.in_memory(today) as book:
        import_folder(book, place)
        (place / "b.jpg").rename(place / "photos" / "b.jpg")
        with (place / "inspections.csv").open("a") as file:
            file.write("kitchen,2026-04-13,wall,1,b.jpg\n")
        counts = import_folder(book, place, only_new=True)
        assert (counts.left_out, counts.photographs) == (2, 1)
        assert [len(hashes) for _, hashes in book.pictured()] == [1, 1]


def test_only_looks_have_the_column(tmp_path):
    place = folder_with(tmp_path, "")
    (place / "sites.csv").write_text("boiler,site,photos\nkitchen,lid,a.jpg\n")
    assert "sites.csv row 1, photos: no such column" in refused(place)[0]
    assert Site.KIND.file == "sites.csv"
