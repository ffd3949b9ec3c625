"""What a file of a photograph becomes: upright, small, bare of all else; and what is refused in a line."""

import os
import time
from hashlib import sha256
from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageOps

from scalemodel.errors import BadValueError
from scalemodel.logbook import photographs
from scalemodel.logbook.photographs import LARGEST_GIVEN, LARGEST_KEPT, fault_of, measured, prepare, prepare_all
from tests.logbook.pictures import (
    SECRET,
    file_of,
    many_passes,
    noise,
    packed_text_bomb,
    photograph,
    png,
    scene,
    turned,
    with_text_chunks,
)


def corners(jpeg: bytes) -> list[str]:
    """The colours in the middle of the four quarters, by name."""
    picture = Image.open(BytesIO(jpeg))
    names = {(255, 0, 0): "red", (0, 255, 0): "lime", (0, 0, 255): "blue", (128, 128, 128): "grey"}
    places = [(picture.width * x // 4, picture.height * y // 4) for y in (1, 3) for x in (1, 3)]
    seen = [picture.getpixel(place) for place in places]
    return [next((name for rgb, name in names.items() if max(map(abs, map(int.__sub__, rgb, one))) < 30), str(one))
            for one in seen]  # fmt: skip


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photograph_is_set_upright(orientation):
    """Exif 2.32, orientation: however the camera was held, the scene's upper left corner comes to the upper left.

    Pillow's own `exif_transpose` says the same.
    """
    kept = prepare(turned(orientation))
    theirs = ImageOps.exif_transpose(Image.open(BytesIO(turned(orientation))))
    assert corners(file_of(theirs, quality=95)) == corners(kept.jpeg)
    assert corners(kept.jpeg) == ["red", "lime", "blue", "grey"]
    assert (kept.width, kept.height) == (60, 40)
    assert Image.open(BytesIO(kept.jpeg)).getexif().get(0x0112) is None


@pytest.mark.parametrize("made", [photograph(), with_text_chunks(), photograph() + SECRET])
def test_whatever_else_the_file_tells_is_gone(made):
    assert SECRET in made
    kept = prepare(made)
    picture = Image.open(BytesIO(kept.jpeg))
    assert not dict(picture.getexif())
    assert set(picture.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for told in (SECRET, b"Exif", b"GPS", b"maker", b"http"):
        assert told not in kept.jpeg
    assert measured(kept.jpeg) == (kept.width, kept.height) == picture.size
    assert kept.sha256 == sha256(kept.jpeg).hexdigest()
    assert fault_of(kept) is None


@pytest.mark.parametrize(
    ("width", "height"), [(3000, 2000), (1200, 1700), (1601, 4), (1600, 1600), (1, 1), (9, 30_000)]
)
def test_a_photograph_is_small(width, height):
    kept = prepare(file_of(noise(width, height), "PNG"))
    assert max(kept.width, kept.height) <= 1600
    assert len(kept.jpeg) <= LARGEST_KEPT == 400_000
    if min(width, height) > 10:
        assert kept.width / kept.height == pytest.approx(width / height, rel=0.01)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_every_sort_of_colour_is_read(mode):
    grey = Image.new("L", (40, 30), 128)
    picture = Image.new("I;16", (40, 30), 128 * 257) if mode == "I;16" else grey.convert(mode)
    shown = Image.open(BytesIO(prepare(file_of(picture, "PNG")).jpeg)).resize((1, 1)).getpixel((0, 0))
    assert all(abs(colour - 128) < (10 if mode != "1" else 30) for colour in shown)


def test_what_shows_through_is_white():
    clear = file_of(Image.new("RGBA", (40, 30), (0, 0, 0, 0)), "PNG")
    assert Image.open(BytesIO(prepare(clear).jpeg)).getpixel((5, 5)) == (255, 255, 255)
    cmyk = file_of(Image.new("CMYK", (40, 30), (0, 0, 0, 0)))
    assert min(Image.open(BytesIO(prepare(cmyk).jpeg)).getpixel((5, 5))) > 240


@pytest.mark.parametrize("made", [photograph(), file_of(noise(1700, 900), "PNG"), with_text_chunks()])
def test_what_was_kept_once_comes_back_byte_for_byte(made):
    kept = prepare(made)
    assert prepare(kept.jpeg) == kept
    assert prepare(made) == kept


REFUSED = {
    "no picture": (b"not a picture at all", "expected a photograph as JPEG or PNG"),
    "nothing": (b"", "expected a photograph as JPEG or PNG"),
    "a head alone": (b"\xff\xd8\xff", "expected a photograph"),
    "GIF": (file_of(scene(), "GIF"), "expected a photograph as JPEG or PNG"),
    "TIFF": (file_of(scene(), "TIFF"), "expected a photograph as JPEG or PNG"),
    "EPS": (b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n(/etc/passwd) run\n", "expected a photograph"),
    "SVG": (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "expected a photograph"),
    "cut short": (photograph()[:-300], "this one is damaged"),
    "cut short after it was kept": (prepare(photograph()).jpeg[:-300], "this one is damaged"),
    "half a PNG": (file_of(noise(90, 90), "PNG")[:4000], "this one is damaged"),
    "rows that are missing": (png(5000, 5000, rows=bytes(500)), "this one is damaged"),
    "a bomb by its header": (png(60_000, 60_000), "of at most 40 million pixels"),
    "a bomb by a little": (png(40_000_001, 1), "of at most 40 million pixels"),
    "as wide as can be": (png(2**31 - 1, 2**31 - 1), "expected a photograph"),
    "a bomb of text": (packed_text_bomb(), "expected a photograph"),
    "many passes": (many_passes(3000), "in at most 40 passes"),
    "too many bytes": (photograph() + bytes(LARGEST_GIVEN), "of at most 20 MB"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_refused(what):
    data, said = REFUSED[what]
    began = time.process_time()
    with pytest.raises(BadValueError, match=r"photo: 'x\.jpg' will not do") as refused:
        prepare(data, "x.jpg")
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)
    assert time.process_time() - began < 5


def test_a_bomb_is_never_decoded(monkeypatch):
    """The pixels are counted before any is made: a decoder that is asked for one fails the test."""

    def decoded(*_):
        raise AssertionError("it was decoded")

    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", decoded)
    for width, height in ((60_000, 60_000), (6_400, 6_400)):
        with pytest.raises(BadValueError, match="million pixels"):
            prepare(png(width, height, rows=bytes(1000)))


def test_forty_million_pixels_are_read_in_little_room():
    resource = pytest.importorskip("resource")
    rows = (b"\0" + bytes([90]) * 8000) * 5000
    made = png(8000, 5000, rows=rows)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    kept = prepare(made)
    assert (kept.width, kept.height) == (1600, 1000)
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) < 600_000  # kB


def test_a_progressive_photograph_of_a_camera_is_read():
    made = file_of(scene(), progressive=True)
    assert corners(prepare(made).jpeg) == ["red", "lime", "blue", "grey"]
    assert measured(made) == (60, 40)


@pytest.mark.parametrize(
    "more",
    [b"\xff\xfe\x00\x08secret", b"\xff\xe1\x00\x08Exif\0\0", b"\xff\xed\x00\x08secret", b"\xff\xe0\x00\x08secret"],
)
def test_a_segment_that_tells_more_is_noticed(more):
    plain = prepare(photograph()).jpeg
    assert measured(plain)
    for place in (2, 20):  # before and behind the JFIF head
        assert measured(plain[:place] + more + plain[place:]) is None


def test_what_hangs_on_behind_or_stands_between_is_noticed():
    plain = prepare(photograph()).jpeg
    assert measured(plain + b"x") is None
    assert measured(plain[:20] + b"secret" + plain[20:]) is None
    assert measured(plain[:-2]) is None
    assert measured(b"x" + plain) is None


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_damaged_files_are_photographs_or_refused(data):
    """Bytes changed, cut out or put in anywhere: what comes out is sound, or one line."""
    made = bytearray(data.draw(st.sampled_from([photograph(), with_text_chunks(), turned(6), many_passes(3)])))
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(made) - 1))
        kind = data.draw(st.sampled_from(["set", "cut", "put"]))
        if kind == "set":
            made[place] = data.draw(st.integers(0, 255))
        elif kind == "cut":
            del made[place : place + data.draw(st.integers(1, 40))]
        else:
            made[place:place] = data.draw(st.binary(min_size=1, max_size=40))
    kept, said = None, ""
    try:
        kept = prepare(bytes(made))
    except BadValueError as error:
        said = str(error)
    assert "\n" not in said
    if kept is None:
        return
    assert fault_of(kept) is None
    assert SECRET not in kept.jpeg


@given(st.binary(max_size=300))
@settings(max_examples=200, deadline=None)
def test_anything_at_all_is_measured_or_not(data):
    measured(data)
    measured(b"\xff\xd8" + data)


def test_the_same_twice_is_one_and_too_many_are_refused():
    assert len(prepare_all([photograph(1), photograph(2), photograph(1)])) == 2
    with pytest.raises(BadValueError, match="at most 20 photographs of a look"):
        prepare_all([photograph(1)] * 21)
    with pytest.raises(BadValueError, match="photo: 'photograph 2' will not do"):
        prepare_all([photograph(1), b"x"])


def test_files_that_are_not_read(tmp_path):
    (tmp_path / "a.jpg").write_bytes(photograph())
    (tmp_path / "link.jpg").symlink_to(tmp_path / "a.jpg")
    with (tmp_path / "large.jpg").open("wb") as file:
        file.truncate(LARGEST_GIVEN + 1)
    assert photographs.read_file(tmp_path / "a.jpg", follow=False) == photograph()
    assert photographs.read_file(tmp_path / "link.jpg") == photograph()
    refused = {"link.jpg": "not a link", "large.jpg": "of at most 20 MB", "none.jpg": "No such file", ".": "directory"}
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.jpg")
        refused["pipe.jpg"] = "not a pipe"
    for name, said in refused.items():
        with pytest.raises(BadValueError, match=said):
            photographs.read_file(tmp_path / name, follow=False)
