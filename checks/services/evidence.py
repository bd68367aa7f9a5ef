"""Photos and scans of paper originals: added to a draft and taken away until it is signed."""

from dataclasses import dataclass

from django.db import transaction
from django.utils import timezone

from checks.models import CheckEvent, Photo, Step
from checks.services import photo_files
from checks.services.errors import RecordError
from checks.services.persons import may
from checks.services.picture import JPEG, LONG_EDGE, MAX_BYTES, PAPER_EDGE, PDF, Unfit, fit_picture, kind_of
from checks.services.record import PERFORM, locked_draft
from fleet.models import User

MOST = 40  # of one check


@dataclass(frozen=True)
class Fit:
    """A file as it is kept."""

    content: bytes
    media_type: str
    width: int | None = None
    height: int | None = None
    taken: str = ""


def add_photo(
    *,
    event: CheckEvent,
    by: User,
    content: bytes,
    step: Step | None = None,
    kind: str = Photo.Kind.PHOTO,
    remark: str = "",
) -> Photo:
    """Keep one file with a draft; the same one sent again to the same step is the one that is there.

    Pictures are written anew without their metadata; a PDF is taken unchanged, of a paper original alone.
    RecordError says what is wrong with the file, or that the check was signed meanwhile.
    """
    may(by, PERFORM)
    fit = _fit(content, kind)  # decoding takes a while: nothing is locked meanwhile
    sha256 = photo_files.digest(fit.content)
    with transaction.atomic():
        event = locked_draft(event)
        same = event.photos.filter(step=step, sha256=sha256).first()
        if same:
            return same
        _room(event, step)
        photo = Photo(
            event=event,
            step=step,
            kind=kind,
            remark=remark.strip(),
            media_type=fit.media_type,
            size=len(fit.content),
            width=fit.width,
            height=fit.height,
            sha256=sha256,
            taken=fit.taken,
            added_by=by,
            added_at=timezone.now(),
        )
        photo.full_clean(exclude=["event", "step", "added_by", "stored"], validate_constraints=False)
        photo.stored = photo_files.store(fit.content, fit.media_type)
        photo.save(force_insert=True)
    return photo


@transaction.atomic
def remove_photo(*, photo: Photo, by: User) -> None:
    """Take a file away from a draft."""
    may(by, PERFORM)
    locked_draft(photo.event)
    photo.delete()
    photo_files.drop_afterwards([photo.stored])


def _room(event: CheckEvent, step: Step | None) -> None:
    if step and step.revision_id != event.revision_id:
        raise RecordError("This revision has no such step. Load the page again.", field="step")
    if event.photos.count() >= MOST:
        raise RecordError(f"A check keeps at most {MOST} files. Take one away first.", field="file")


def _fit(content: bytes, kind: str) -> Fit:
    """The file as it is kept. RecordError where it can't be."""
    if not content:
        raise RecordError("The file is empty. Choose another one.", field="file")
    if len(content) > MAX_BYTES:
        raise RecordError(
            f"The file has {len(content) / 1024 / 1024:.1f} MB; at most {MAX_BYTES // 1024 // 1024} MB are "
            "kept. Set the camera to a smaller size, or scan with fewer dots to the inch.",
            field="file",
        )
    if kind_of(content) == "PDF":
        if kind != Photo.Kind.PAPER:
            raise RecordError("A PDF is kept as a scan of a paper original. Choose that kind.", field="kind")
        return Fit(content, PDF)
    try:
        picture = fit_picture(content, PAPER_EDGE if kind == Photo.Kind.PAPER else LONG_EDGE)
    except Unfit as unfit:
        raise RecordError(str(unfit), field="file") from unfit
    return Fit(picture.content, JPEG, picture.width, picture.height, picture.taken)
