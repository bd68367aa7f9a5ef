"""What a look marked on the outlines of panels, on paper: the drawings of the page, three in a row."""

from collections.abc import Iterable, Sequence

from reportlab.platypus import Flowable, Table, TableStyle

from checks.charts.outline import SHEET, outline
from checks.engine.areas import split
from reports.pdf.chart import still
from reports.pdf.text import SMALL, paragraph

_A_ROW, _SCALE = 3, 0.55


def outlines(looks: Iterable[tuple[str, str]], width: float) -> list[Flowable]:
    """A drawing with its caption for each (caption, remark) whose remark begins with marked areas."""
    cells = [
        [still(outline(areas), SHEET, _SCALE), paragraph(f"{caption}: {areas.words}", SMALL)]
        for caption, remark in looks
        if (areas := split(remark)[0])
    ]
    return [_row(cells[at : at + _A_ROW], width) for at in range(0, len(cells), _A_ROW)]


def _row(cells: Sequence[list[Flowable]], width: float) -> Flowable:
    filled = [*cells, *([""] * (_A_ROW - len(cells)))]
    made = Table([filled], colWidths=[width / _A_ROW] * _A_ROW, spaceBefore=4, spaceAfter=4)
    made.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return made
