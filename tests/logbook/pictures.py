"""Pictures for tests, made here: plain ones, and ones made to do harm."""

import struct
import zlib
from io import BytesIO

from PIL import Image
from PIL.PngImagePlugin import PngInfo

SECRET = b"51.4779 north, a telephone of some make"


def scene(width: int = 60, height: int = 40) -> Image.Image:
    """A picture whose upper left corner is red, the upper right green, the lower left blue, the rest grey."""
    picture = Image.new("RGB", (width, height), (128, 128, 128))
    for place, colour in (((0, 0), "red"), ((width // 2, 0), "lime"), ((0, height // 2), "blue")):
        picture.paste(colour, (*place, place[0] + width // 2, place[1] + height // 2))
    return picture


def file_of(picture: Image.Image, kind: str = "JPEG", **more) -> bytes:
    file = BytesIO()
    picture.save(file, kind, **more)
    return file.getvalue()


def noise(width: int, height: int, seed: int = 1) -> Image.Image:
    """Random colours, which no JPEG makes small."""
    import random

    return Image.frombytes("RGB", (width, height), random.Random(seed).randbytes(3 * width * height))


def photograph(number: int = 0) -> bytes:
    """A small JPEG of a phone, each number another one: tags of place and device, a thumbnail, a comment."""
    tags = Image.Exif()
    tags[0x010F], tags[0x0110] = "a maker", SECRET.decode()
    tags.get_ifd(0x8825).update({1: "N", 2: (51.0, 28.0, 40.0), 3: "W", 4: (0.0, 0.0, 5.0)})
    picture = scene()
    picture.paste((number * 37 % 256, number * 91 % 256, 9), (40, 30, 56, 38))
    return file_of(picture, exif=tags, comment=SECRET, quality=95)


def turned(orientation: int) -> bytes:
    """The scene as a camera that was held in that way stores it, and says so."""
    undo = {2: 0, 3: 3, 4: 1, 5: 5, 6: 2, 7: 6, 8: 4}  # members of Transpose, each the way back of its orientation
    tags = Image.Exif()
    tags[0x0112] = orientation
    picture = scene() if orientation == 1 else scene().transpose(undo[orientation])
    return file_of(picture, exif=tags, quality=95)


def with_text_chunks() -> bytes:
    """A PNG that tells more than its picture: plain, packed and international text, and tags of place."""
    info = PngInfo()
    info.add_text("Comment", SECRET.decode())
    info.add_text("Description", SECRET.decode(), zip=True)
    info.add_itxt("Place", SECRET.decode())
    tags = Image.Exif()
    tags[0x0110] = SECRET.decode()
    return file_of(scene(), "PNG", pnginfo=info, exif=tags)


def png(width: int, height: int, *chunks: tuple[bytes, bytes], rows: bytes = b"") -> bytes:
    """A PNG of 8-bit grey by its parts: its size as it claims it, and what stands in it."""
    header = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    parts = [(b"IHDR", header), *chunks, (b"IDAT", zlib.compress(rows)), (b"IEND", b"")]
    packed = (
        struct.pack(">I", len(held)) + name + held + struct.pack(">I", zlib.crc32(name + held)) for name, held in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(packed)


def packed_text_bomb() -> bytes:
    """A PNG with a text of 100 MB, packed into 100 kB."""
    return png(4, 4, (b"zTXt", b"x\0\0" + zlib.compress(bytes(100_000_000), 9)), rows=bytes(20))


def many_passes(passes: int) -> bytes:
    """A progressive JPEG whose last scan is said again and again."""
    whole = file_of(scene(), progressive=True)
    last = whole.rindex(b"\xff\xda")
    return whole[:last] + whole[last:-2] * passes + whole[-2:]
