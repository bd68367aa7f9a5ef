"""Small invented pictures and papers for tests, and a reader of JPEG segments without Pillow."""

import io
import struct
from collections.abc import Iterator

from PIL import Image

# Tag numbers of the Exif standard (CIPA DC-008), from memory: the sub-directories and the times of taking.
EXIF_IFD, GPS_IFD = 0x8769, 0x8825
MAKE, ORIENTATION, DATE_TIME_ORIGINAL, OFFSET_TIME_ORIGINAL = 0x010F, 0x0112, 0x9003, 0x9011
GPS_LATITUDE_REF, GPS_LATITUDE = 1, 2
PDF = b"%PDF-1.4\n% invented, with words of its own: /Author (nobody)\n%%EOF\n"


def picture(width: int = 80, height: int = 60, colour: str = "teal") -> Image.Image:
    """One colour, with a red upper left quarter, so that a turn can be seen."""
    made = Image.new("RGB", (width, height), colour)
    made.paste("red", (0, 0, width // 2, height // 2))
    return made


def encoded(image: Image.Image, form: str = "JPEG", **how: object) -> bytes:
    made = io.BytesIO()
    image.save(made, form, **how)
    return made.getvalue()


def exif(taken: str = "2025:03:12 11:40:05", offset: str = "", orientation: int = 1) -> Image.Exif:
    """What a phone writes: maker, place, time."""
    made = Image.Exif()
    made[MAKE] = "INVENTED MAKER"
    made[ORIENTATION] = orientation
    details = made.get_ifd(EXIF_IFD)
    details[DATE_TIME_ORIGINAL] = taken
    if offset:
        details[OFFSET_TIME_ORIGINAL] = offset
    place = made.get_ifd(GPS_IFD)
    place[GPS_LATITUDE_REF] = "N"
    place[GPS_LATITUDE] = (60.0, 12.0, 34.5)
    return made


def jpeg(width: int = 80, height: int = 60, colour: str = "teal", **how: object) -> bytes:
    """A JPEG as a phone sends it, with its metadata and a comment."""
    given = {"exif": exif(), "comment": b"INVENTED COMMENT"} | how
    return encoded(picture(width, height, colour), "JPEG", **given)


def segments(content: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and payload of each JPEG segment up to the image data (ITU-T T.81, annex B)."""
    place = 2
    while content[place] == 0xFF and content[place + 1] != 0xDA:
        (length,) = struct.unpack(">H", content[place + 2 : place + 4])
        yield content[place + 1], content[place + 4 : place + 2 + length]
        place += 2 + length


def bomb(width: int = 60_000, height: int = 60_000) -> bytes:
    """A PNG whose head names more pixels than anybody should decode; its data are empty."""
    import zlib

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")
