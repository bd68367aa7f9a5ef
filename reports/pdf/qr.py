"""QR codes on paper, as vectors: a link that the camera of a phone opens."""

from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing

from reports.pdf.chart import INK

#: Level M of ISO/IEC 18004 mends about 15 % of the symbol: oil and scratches, and no denser than needed.
LEVEL = "M"
#: light modules round the symbol; the standard asks for four
QUIET = 4


def qr(text: str, size: float) -> Drawing:
    """A QR code of the text as a flowable, `size` points wide and high with its quiet zone."""
    made = Drawing(size, size)
    made.add(
        QrCodeWidget(text, barLevel=LEVEL, barBorder=QUIET, barWidth=size, barHeight=size, barFillColor=INK)
    )
    return made
