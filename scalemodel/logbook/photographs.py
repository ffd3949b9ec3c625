"""Photographs of looks: a file's bytes in, a small upright JPEG with its facts out, and nothing else of the file.

Pillow decodes and writes; it is loaded only where there is a picture to be read. What this module writes it knows
again (`measured`), so that a photograph that was exported comes back byte for byte.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from scalemodel.errors import BadValueError

if TYPE_CHECKING:
    from PIL.Image import Image

LONGEST_SIDE = 1600
"""Pixels of the longer side of a photograph that is kept, at most."""

LARGEST_KEPT = 400_000
"""Bytes of a photograph that is kept, at most."""

LARGEST_GIVEN = 20_000_000
"""Bytes of a file that is taken for a photograph, at most."""

MOST_PIXELS = 40_000_000
"""Pixels of a picture that is decoded, at most."""

MOST_A_LOOK = 20
"""Photographs of one look, at most."""

FORMATS = ("JPEG", "PNG")
"""Whose size Pillow reads from the header alone, before anything is decoded."""

_EXPECTED = "a photograph as JPEG or PNG"
_MOST_SCANS = 40
"""Passes of a progressive JPEG; one of thousands, each nearly empty, only costs time."""

_QUALITIES = (88, 80, 72, 64, 56)
_TURNED = {2: "FLIP_LEFT_RIGHT", 3: "ROTATE_180", 4: "FLIP_TOP_BOTTOM", 5: "TRANSPOSE", 6: "ROTATE_270",
           7: "TRANSVERSE", 8: "ROTATE_90"}  # fmt: skip
"""What sets a picture upright, by the number that Exif 2.32 (CIPA DC-008) gives its orientation."""

_ORIENTATION = 0x0112


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph as the logbook keeps it: an upright JPEG [bytes], its SHA-256, and its size [pixels]."""

    sha256: str
    width: int
    height: int
    jpeg: bytes = field(repr=False)


def prepare(data: bytes, name: str = "the photograph") -> Photograph:
    """The photograph in a file's bytes: upright, at most 1,600 pixels and 400 kB, and no other datum of the file.

    ``name`` is what errors call it. Raises BadValueError for what is no JPEG or PNG, is damaged, is over 20 MB or has
    more than 40 million pixels; the pixels are counted by the header, before any is decoded.
    """
    if len(data) > LARGEST_GIVEN:
        raise _too_large(name)
    picture = _opened(data, name)
    try:
        plain = measured(data)
        if plain is not None:
            picture.load()  # else it may be cut short within
            return Photograph(sha256(data).hexdigest(), *plain, data)
        jpeg, (width, height) = _written(_small_and_upright(picture))
    except BadValueError:
        raise
    except Exception as error:  # of a decoder that was given bytes which anyone may have made
        raise BadValueError("photo", name, f"{_EXPECTED}; this one is damaged ({_first_line(error)})") from error
    return Photograph(sha256(jpeg).hexdigest(), width, height, jpeg)


def prepare_all(files: Iterable[bytes]) -> tuple[Photograph, ...]:
    """The photographs of one look in their order, none twice; BadValueError as `prepare`, or for too many."""
    found: dict[str, Photograph] = {}
    for count, data in enumerate(files, start=1):
        if count > MOST_A_LOOK:
            raise BadValueError("photo", f"photograph {count}", f"at most {MOST_A_LOOK} photographs of a look")
        one = prepare(data, f"photograph {count}")
        found.setdefault(one.sha256, one)
    return tuple(found.values())


def smaller(photograph: Photograph, side: int) -> Photograph:
    """The same photograph with at most so many pixels on its longer side, to be shown among others."""
    from PIL import Image

    if max(photograph.width, photograph.height) <= side:
        return photograph
    picture = Image.open(BytesIO(photograph.jpeg), formats=("JPEG",))
    picture.thumbnail((side, side), Image.Resampling.LANCZOS)
    file = BytesIO()
    picture.save(file, "JPEG", quality=_QUALITIES[1], optimize=True)
    jpeg = file.getvalue()
    return Photograph(sha256(jpeg).hexdigest(), *picture.size, jpeg)


def read_file(path: Path, follow: bool = True) -> bytes:
    """The bytes of a file that may be a photograph; BadValueError if it is none, is too large or cannot be read.

    Not even a link is followed unless ``follow``; a pipe is not waited for. Errors call the file by its path where
    links are followed, else by its name.
    """
    name, flags = str(path) if follow else path.name, getattr(os, "O_NONBLOCK", 0)
    if not follow:
        flags |= getattr(os, "O_NOFOLLOW", 0)
    try:
        if not follow and path.is_symlink():
            raise BadValueError("photo", name, "a file, not a link to one")
        with open(path, "rb", opener=lambda place, usual: os.open(place, usual | flags)) as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise BadValueError("photo", name, "a file, not a pipe or a device")
            data = file.read(LARGEST_GIVEN + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise BadValueError("photo", name, f"a file that can be read: {why}") from error
    if len(data) > LARGEST_GIVEN:
        raise _too_large(name)
    return data


def _too_large(name: str) -> BadValueError:
    return BadValueError("photo", name, f"{_EXPECTED} of at most {LARGEST_GIVEN // 1_000_000} MB")


def measured(jpeg: bytes) -> tuple[int, int] | None:
    """Width and height of a JPEG that holds its picture and nothing else, within what is kept; None of any other."""
    size, here = None, 2
    if len(jpeg) > LARGEST_KEPT or not jpeg.startswith(b"\xff\xd8"):
        return None
    for marker, begin, end in _segments(jpeg):
        held = jpeg[begin + 4 : end]
        if begin != here:
            return None
        here = end
        if marker in (0xC0, 0xC1, 0xC2):
            if size is not None or len(held) < 6 or held[5] not in (1, 3):
                return None
            size = int.from_bytes(held[3:5], "big"), int.from_bytes(held[1:3], "big")
        elif marker == 0xE0:  # JFIF and no thumbnail
            if begin != 2 or len(held) != 14 or held[:5] != b"JFIF\0" or held[12:14] != b"\0\0":
                return None
        elif marker == 0xD9:
            whole = end == len(jpeg) and size is not None
            return size if whole and min(size) > 0 and max(size) <= LONGEST_SIDE else None
        elif marker not in (0xDA, 0xDB, 0xC4, 0xDD):
            return None
    return None


def fault_of(photograph: Photograph) -> str | None:
    """What is wrong with a photograph that was kept; None for nothing."""
    if sha256(photograph.jpeg).hexdigest() != photograph.sha256:
        return "is not the file that it was (SHA-256)"
    if measured(photograph.jpeg) != (photograph.width, photograph.height):
        return f"is not a plain JPEG of {photograph.width} x {photograph.height} pixels"
    return None


def _segments(jpeg: bytes) -> Iterator[tuple[int, int, int]]:
    """The marker of each segment of a JPEG, where it begins and ends; a scan's ends behind its coded data."""
    here = 2
    while (here := jpeg.find(b"\xff", here)) >= 0 and here + 1 < len(jpeg):
        marker = jpeg[here + 1]
        if marker == 0xD9:
            yield marker, here, here + 2
            return
        if marker in (0x00, 0x01, 0xFF, 0xD8) or 0xD0 <= marker <= 0xD7:  # stands alone, or is none
            here += 1
            continue
        end = here + 2 + int.from_bytes(jpeg[here + 2 : here + 4], "big")
        if marker == 0xDA:
            end = _end_of_scan(jpeg, end)
        yield marker, here, end
        here = end


def _end_of_scan(jpeg: bytes, here: int) -> int:
    while (here := jpeg.find(b"\xff", here)) >= 0:
        after = jpeg[here + 1 : here + 2]
        if after != b"\0" and not b"\xd0" <= after <= b"\xd7":
            return here
        here += 2
    return len(jpeg)


def _opened(data: bytes, name: str) -> Image:
    """A picture of which only the header was read; BadValueError if it is none or would be too large."""
    import warnings

    from PIL import Image

    warnings.filterwarnings("ignore", module=r"PIL\.")  # of odd tags and of many pixels, which are counted below
    try:
        picture = Image.open(BytesIO(data), formats=FORMATS)
        width, height = picture.size
    except Image.DecompressionBombError:
        width = height = MOST_PIXELS
    except Exception as error:  # as above
        raise BadValueError("photo", name, _EXPECTED) from error
    if width * height > MOST_PIXELS:
        raise BadValueError("photo", name, f"{_EXPECTED} of at most {MOST_PIXELS // 1_000_000} million pixels")
    if sum(marker == 0xDA for marker, _, _ in _segments(data)) > _MOST_SCANS and data.startswith(b"\xff\xd8"):
        raise BadValueError("photo", name, f"{_EXPECTED} in at most {_MOST_SCANS} passes")
    return picture


def _small_and_upright(picture: Image) -> Image:
    """The picture itself, in a new one of three colours that knows nothing else."""
    from PIL import Image

    orientation = _orientation(picture)
    if "transparency" in picture.info or picture.mode in ("RGBA", "LA", "PA", "La", "RGBa"):
        picture = picture.convert("RGBA")
    elif picture.mode.startswith("I"):  # 16 bits of grey
        picture = picture.point(lambda value: value * (1 / 257)).convert("L")
    elif picture.mode not in ("L", "RGB", "CMYK"):
        picture = picture.convert("RGB")
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    picture.load()
    if orientation in _TURNED:
        picture = picture.transpose(Image.Transpose[_TURNED[orientation]])
    clean = Image.new("RGB", picture.size, "white")
    if picture.mode == "RGBA":
        clean.paste(picture, mask=picture.getchannel("A"))
    else:
        clean.paste(picture.convert("RGB"))
    return clean


def _orientation(picture: Image) -> int | None:
    try:
        return picture.getexif().get(_ORIENTATION)
    except Exception:  # tags that nobody can read turn nothing
        return None


def _written(picture: Image) -> tuple[bytes, tuple[int, int]]:
    """The JPEG of a picture and its size: the best that is small enough, of fewer pixels if need be."""
    from PIL import Image

    while True:
        for quality in _QUALITIES:
            file = BytesIO()
            picture.save(file, "JPEG", quality=quality, optimize=True)
            if file.tell() <= LARGEST_KEPT:
                return file.getvalue(), picture.size
        smaller = tuple(max(1, side * 3 // 4) for side in picture.size)
        picture = picture.resize(smaller, Image.Resampling.LANCZOS)


def _first_line(error: Exception) -> str:
    said = str(error).splitlines()
    return said[0] if said else type(error).__name__
