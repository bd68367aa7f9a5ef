"""The icing status on paper: one line for each aircraft, every reason in words."""

from django.utils import timezone

from reports.icing_status import IcingSheet
from reports.pdf.frame import Shown, list_document, table

COLUMNS = ("Aircraft", "Base", "Status", "What is recorded")
WIDTHS = (60, 90, 120, 486)
NOTES = (
    "“Nothing recorded against” says only that these records hold nothing against flight in icing. It is "
    "no permission. The aircraft's type approval for icing, its other systems, the fluid on board and the "
    "crew's decision lie outside these records.",
    "What is recorded after the moment above is not on this sheet.",
)


def icing_status_pdf(sheet: IcingSheet) -> bytes:
    """The sheet as a PDF, landscape A4, as many pages as it takes."""
    moment = timezone.localtime(sheet.at)
    document = list_document(sheet.operator, "Icing status", is_demo=sheet.is_demo)
    document.text(
        f"As recorded at {moment.day} {moment:%b %Y %H:%M %Z}. Shown: {sheet.words}. "
        f"{sheet.against} of {len(sheet.statuses)} aircraft with something recorded against."
    )
    document.text(NOTES[0])
    if sheet.statuses:
        lines = [
            (
                one.aircraft.registration,
                one.aircraft.base.name,
                Shown(one.words),
                "\n".join(reason.text for reason in one.reasons),
            )
            for one in sheet.statuses
        ]
        document.add(table(COLUMNS, lines, WIDTHS))
    else:
        document.text("No aircraft fits this filter.")
    document.text(NOTES[1], small=True)
    return document.render()
