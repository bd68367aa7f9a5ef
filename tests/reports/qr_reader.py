"""Reading the QR codes of a PDF as a phone would: its own filled squares, drawn large, given to a decoder.

The decoder is zxing-cpp, which shares nothing with the writer.
"""

import io

import zxingcpp
from PIL import Image, ImageDraw
from pypdf import PdfReader
from pypdf.generic import ContentStream

#: dots a point; a module of a code is a point or more
FINE = 4


def codes(pdf: bytes) -> list[str]:
    """The texts of all QR codes, sheet by sheet, in no order within a sheet."""
    reader = PdfReader(io.BytesIO(pdf))
    return [read.text for page in reader.pages for read in zxingcpp.read_barcodes(_drawn(page, reader))]


def _drawn(page: object, reader: PdfReader) -> Image.Image:
    """The filled rectangles of a sheet in their tones of grey; text and lines are left out."""
    box = page.mediabox
    sheet = Image.new("L", (int(box.width * FINE), int(box.height * FINE)), 255)
    pen = ImageDraw.Draw(sheet)
    at, tone, kept, rectangles = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0), 0, [], []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        numbers = [float(one) for one in operands] if operator in (b"cm", b"re", b"rg") else []
        if operator == b"q":
            kept.append((at, tone))
        elif operator == b"Q":
            at, tone = kept.pop()
        elif operator == b"cm":
            at = _moved(numbers, at)
        elif operator == b"rg":
            tone = round(255 * sum(numbers) / 3)
        elif operator == b"n":
            rectangles = []
        elif operator == b"re":
            rectangles.append(numbers)
        elif operator in (b"f", b"f*", b"B", b"B*"):
            for x, y, width, height in rectangles:
                across = sorted(round(FINE * (one * at[0] + at[4])) for one in (x, x + width))
                down = sorted(
                    round(FINE * (float(box.height) - one * at[3] - at[5])) for one in (y, y + height)
                )
                if across[0] < across[1] and down[0] < down[1]:
                    pen.rectangle((across[0], down[0], across[1] - 1, down[1] - 1), fill=tone)
            rectangles = []
    return sheet


def _moved(by: list[float], at: tuple[float, ...]) -> tuple[float, ...]:
    """One move or scale after another; sheets turn nothing, so two numbers of the six are nought."""
    a, _, _, d, e, f = by
    return (a * at[0], 0.0, 0.0, d * at[3], e * at[0] + at[4], f * at[3] + at[5])
