"""Photos and changes of hands of a signed check, as lines for paper."""

import datetime as dt
from dataclasses import dataclass

from checks.models import CheckEvent
from checks.services import photo_files
from checks.services.picture import small

PAPER_EDGE = 480  # pixels: some 230 dots to the inch at the width of a third of a sheet


@dataclass(frozen=True)
class PhotoLine:
    """One file kept with the check. picture: a small JPEG; None of a PDF, and where there is a fault."""

    number: int
    where: str
    kind: str
    remark: str
    taken: str
    added_by: str
    added_at: dt.datetime
    sha256: str
    picture: bytes | None
    fault: str


@dataclass(frozen=True)
class HandLine:
    """One change of hands. accepted_at None: an offer that nobody accepted."""

    way: str
    giver: str
    receiver: str
    at: dt.datetime
    accepted_at: dt.datetime | None
    note: str
    open_steps: tuple[str, ...]


def photo_lines(event: CheckEvent) -> tuple[PhotoLine, ...]:
    """Reads every file and compares it with its digest. One query."""
    lines = []
    photos = event.photos.select_related("step", "added_by").order_by("pk")
    for number, photo in enumerate(photos, start=1):
        content = photo_files.read(photo)
        fault = photo_files.fault(photo, content)
        shown = photo.is_picture and not fault
        lines.append(
            PhotoLine(
                number=number,
                where=f"Step {photo.step.number}" if photo.step else "The whole check",
                kind=photo.get_kind_display() if photo.is_picture else f"{photo.get_kind_display()}, PDF",
                remark=photo.remark,
                taken=photo.taken.replace("T", " "),
                added_by=str(photo.added_by),
                added_at=photo.added_at,
                sha256=photo.sha256,
                picture=small(content, PAPER_EDGE) if shown else None,
                fault=fault,
            )
        )
    return tuple(lines)


def hand_lines(event: CheckEvent) -> tuple[HandLine, ...]:
    """Every change of hands, with the names as they were. One query."""
    return tuple(
        HandLine(
            row.get_way_display(),
            row.giver_name,
            row.receiver_name,
            row.at,
            row.accepted_at,
            row.note,
            tuple(row.open_lines),
        )
        for row in event.handovers.order_by("pk")
    )


def file_faults(photos: tuple[PhotoLine, ...]) -> list[str]:
    """What is wrong with the files, in words for the head of the sheet. No query."""
    return [f"photo {one.number}: {one.fault}" for one in photos if one.fault]
