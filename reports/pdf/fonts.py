"""The typeface of everything on paper: embedded, shipped inside reportlab, so that nothing is fetched.

Vera covers Western and Central European letters and the signs this trade needs (° ² ≤ ≥ ± − –); a
character that it lacks is printed as REPLACEMENT, so that nobody mistakes a gap for nothing.
"""

from functools import cache

import reportlab
from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD, ITALIC, BOLD_ITALIC = "Vera", "Vera-Bold", "Vera-Italic", "Vera-BoldItalic"
REPLACEMENT = "\u00bf"
_FILES = {PLAIN: "Vera.ttf", BOLD: "VeraBd.ttf", ITALIC: "VeraIt.ttf", BOLD_ITALIC: "VeraBI.ttf"}


@cache
def register() -> frozenset[int]:
    """Make the four cuts known to reportlab, once; give the code points that all four can print."""
    # Fonts come from the package folder, and no address in a text may ever be followed.
    reportlab.rl_config.trustedHosts = None
    # No fallback to a font that is not embedded; binary streams are smaller and a third quicker to make.
    reportlab.rl_config.canvas_basefontname = PLAIN
    reportlab.rl_config.useA85 = 0
    covered: set[int] | None = None
    for name, file in _FILES.items():
        font = TTFont(name, file)
        pdfmetrics.registerFont(font)
        signs = set(font.face.charToGlyph)
        covered = signs if covered is None else covered & signs
    for bold, italic, name in ((0, 0, PLAIN), (1, 0, BOLD), (0, 1, ITALIC), (1, 1, BOLD_ITALIC)):
        addMapping(PLAIN, bold, italic, name)
    return frozenset(covered or ())


def printable(text: str) -> str:
    """The text with every character that the typeface lacks replaced by REPLACEMENT."""
    covered = register()
    return "".join(sign if ord(sign) in covered or sign == "\n" else REPLACEMENT for sign in text)
