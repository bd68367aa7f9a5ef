"""A photo made fit to keep: told by its content, decoded within bounds, written anew without its metadata.

Place, device and everything else that a camera writes into a file stay behind; only the time at which the
picture was taken is read first, as the camera's clock had it. No Django, no files: bytes in, bytes out.
"""

import datetime as dt
import io
import re
from dataclasses import dataclass

from PIL import ExifTags, Image, ImageOps, UnidentifiedImageError

MAX_BYTES = 8 * 1024 * 1024
#: a phone's largest usual sensor has 48 to 50 million pixels (from memory); decoded that is 150 MB
MAX_PIXELS = 51_000_000
LONG_EDGE, PAPER_EDGE, SMALL_EDGE = 1600, 2400, 320
QUALITY, SMALL_QUALITY = 82, 70
JPEG, PDF = "image/jpeg", "application/pdf"
# Second line of defence: Pillow itself refuses at twice this, whoever opens a picture.
Image.MAX_IMAGE_PIXELS = MAX_PIXELS
_OFFSET = re.compile(r"[+-]\d\d:\d\d")


class Unfit(ValueError):
    """Words for the person who sent it: what is wrong and the way out."""


@dataclass(frozen=True)
class Picture:
    """A JPEG without metadata. taken: ISO 8601 by the camera's clock, '' where it wrote none."""

    content: bytes
    width: int
    height: int
    taken: str


def kind_of(content: bytes) -> str:
    """'JPEG', 'PNG', 'WEBP' or 'PDF' by the first bytes, '' for anything else: no name is believed."""
    if content.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if content.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "WEBP"
    return "PDF" if content.startswith(b"%PDF-") else ""


def fit_picture(content: bytes, long_edge: int = LONG_EDGE) -> Picture:
    """The picture upright, its long edge at most `long_edge` pixels. Unfit where it can't be kept."""
    kind = kind_of(content)
    if kind not in ("JPEG", "PNG", "WEBP"):
        raise Unfit(
            "Only JPEG, PNG and WebP pictures are kept, told by their content. "
            "Set the phone's camera to JPEG (‘most compatible’), or send a screenshot of the picture."
        )
    try:
        with Image.open(io.BytesIO(content), formats=[kind]) as opened:
            _bounded(opened)
            taken = taken_at(opened)
            # A JPEG is decoded at a half, a quarter or an eighth where that is still large enough.
            opened.draft("RGB", (long_edge, long_edge))
            upright = ImageOps.exif_transpose(opened)
            upright.thumbnail((long_edge, long_edge), Image.Resampling.LANCZOS)
            plain = _plain(upright)
    except Unfit:
        raise
    except Image.DecompressionBombError:
        raise Unfit(_too_many()) from None
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, EOFError, MemoryError) as error:
        raise Unfit("The picture can't be read: it is cut off or damaged. Take it again.") from error
    return Picture(_jpeg(plain, QUALITY), *plain.size, taken)


def small(content: bytes, edge: int = SMALL_EDGE) -> bytes:
    """A small JPEG of a picture that fit_picture made."""
    with Image.open(io.BytesIO(content), formats=["JPEG"]) as opened:
        opened.draft("RGB", (edge, edge))
        opened.thumbnail((edge, edge))
        return _jpeg(_plain(opened), SMALL_QUALITY)


def taken_at(opened: Image.Image) -> str:
    """Exif DateTimeOriginal with OffsetTimeOriginal as ISO 8601; '' where there is none that can be read."""
    try:
        details = opened.getexif().get_ifd(ExifTags.IFD.Exif)
        text = str(details.get(ExifTags.Base.DateTimeOriginal, "")).strip("\0 ")
        moment = dt.datetime.strptime(text, "%Y:%m:%d %H:%M:%S")
    except Exception:  # damaged Exif data fails in many ways, and none of them spoils the picture
        return ""
    offset = str(details.get(ExifTags.Base.OffsetTimeOriginal, "")).strip("\0 ")
    return moment.isoformat() + (offset if _OFFSET.fullmatch(offset) else "")


def _bounded(opened: Image.Image) -> None:
    """Before anything is decoded: the size that the file's head names."""
    width, height = opened.size
    if width * height > MAX_PIXELS:
        raise Unfit(_too_many())


def _too_many() -> str:
    return (
        f"The picture has more than {MAX_PIXELS // 1_000_000} million pixels. "
        "Set the camera to a smaller size and take it again."
    )


def _plain(picture: Image.Image) -> Image.Image:
    """The pixels alone in a new picture; what is transparent becomes white."""
    plain = Image.new("RGB", picture.size, "white")
    if picture.has_transparency_data:
        clear = picture.convert("RGBA")
        plain.paste(clear, mask=clear)
    else:
        plain.paste(picture.convert("RGB"))
    return plain


def _jpeg(picture: Image.Image, quality: int) -> bytes:
    made = io.BytesIO()
    picture.save(made, "JPEG", quality=quality, optimize=True)
    return made.getvalue()
