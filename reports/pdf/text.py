"""Text on paper: what people typed is printed as they typed it and never acts as markup."""

import unicodedata
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Paragraph

from reports.pdf import fonts

#: one typed text on paper; a longer one is cut with words that say so (very long words cost seconds)
CAP = 4000

INK, SOFT, LINE = HexColor("#1f2a26"), HexColor("#4d5a54"), HexColor("#cdcfc2")
TONES = {"act": HexColor("#9c1f1a"), "heed": HexColor("#744800"), "plain": INK, "faint": SOFT}
WASHES = {"act": HexColor("#f9e2dd"), "heed": HexColor("#f8eac6"), "plain": HexColor("#f1f1ea")}

fonts.register()
BODY = ParagraphStyle("body", fontName=fonts.PLAIN, fontSize=8.5, leading=11.5, textColor=INK, spaceAfter=4)
SMALL = ParagraphStyle("small", BODY, fontSize=7, leading=9, textColor=SOFT, spaceAfter=2)
NAME = ParagraphStyle("name", SMALL, spaceAfter=0)
HEAD = ParagraphStyle("head", BODY, fontName=fonts.BOLD, spaceBefore=5)
HEADINGS = {
    1: ParagraphStyle("h1", HEAD, fontSize=13, leading=17),
    2: ParagraphStyle("h2", HEAD, fontSize=10, leading=14, spaceBefore=8),
    3: HEAD,
}


def literal(text: object, cap: int = CAP) -> str:
    """Text for a place that takes it literally: no control or direction signs, printable, not too long."""
    words = "" if text is None else str(text).replace("\r\n", "\n").replace("\t", " ")
    if len(words) <= cap and words.isascii() and words.isprintable():
        return words
    cut = len(words) - cap
    if cut > 0:
        words = f"{words[:cap]} … (cut here; {cut} more characters are kept in the record)"
    kept = "".join(s for s in words if s == "\n" or unicodedata.category(s) not in ("Cc", "Cf", "Cs"))
    return fonts.printable(kept)


def safe(text: object, cap: int = CAP) -> str:
    """Text for a Paragraph: as `literal`, with every sign of markup escaped and line breaks kept."""
    return escape(literal(text, cap)).replace("\n", "<br/>")


def paragraph(text: object, style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph of what somebody typed."""
    return Paragraph(safe(text), style)


def wrapped(text: str, width: float, font: str, size: float) -> list[str]:
    """Lines of at most `width` points; a word that is wider than a line is cut into pieces.

    >>> wrapped("short", 500, "Vera", 8)
    ['short']
    """
    if "\n" not in text and len(text) * size <= width:
        return [text]  # no letter of the typeface is wider than its size
    lines: list[str] = []
    for part in text.split("\n"):
        lines += _wrap_line(part, width, font, size)
    return lines


def _wrap_line(text: str, width: float, font: str, size: float) -> list[str]:
    lines, line = [], ""
    for word in text.rstrip().split(" "):
        longer = f"{line} {word}" if line else word
        if stringWidth(longer, font, size) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while len(line) > 1 and stringWidth(line, font, size) > width:
            kept = _fitting(line, width, font, size)
            lines.append(line[:kept])
            line = line[kept:]
    return [*lines, line]


def _fitting(word: str, width: float, font: str, size: float) -> int:
    """How many letters of a word fit into a width, one at least."""
    kept = len(word)
    while kept > 1 and stringWidth(word[:kept], font, size) > width:
        kept = min(kept - 1, int(kept * width / stringWidth(word[:kept], font, size)) + 1)
    return max(kept, 1)
