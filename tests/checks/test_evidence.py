"""Pictures made fit to keep, photos of a draft, and their place in the signed record."""

import io
import json

import pytest
from django.core.files.storage import default_storage
from django.db import IntegrityError, connection, transaction
from PIL import Image

from checks.engine.canonical import canonical_json
from checks.models import CheckEvent, Photo
from checks.services import evidence, photo_files, picture
from checks.services.correct import correct
from checks.services.errors import RecordError
from checks.services.event_payload import event_payload
from checks.services.evidence import add_photo, remove_photo
from checks.services.freeze import first_record
from checks.services.picture import Unfit, fit_picture
from checks.services.record import discard_draft
from checks.services.sign import sign_performed
from checks.services.verify import verify_chain, verify_event
from tests.checks import evidence_files as files
from tests.checks.work import filled, performed, started
from tests.guards import guards_lifted
from tests.world import PASSWORD, World

APP_SEGMENTS = range(0xE1, 0xF0)  # APP1 (Exif, XMP) to APP15; APP0 is the plain JFIF head
COMMENT = 0xFE


# --- the picture ----------------------------------------------------------------------------------


def test_metadata_are_gone_and_the_time_of_taking_is_kept() -> None:
    sent = files.jpeg()
    assert {0xE1, COMMENT} <= {marker for marker, _ in files.segments(sent)}, "the sent one has them"
    assert b"INVENTED" in sent
    kept = fit_picture(sent)
    assert not [m for m, _ in files.segments(kept.content) if m in APP_SEGMENTS or m == COMMENT]
    assert b"INVENTED" not in kept.content and b"Exif" not in kept.content
    assert kept.taken == "2025-03-12T11:40:05" and (kept.width, kept.height) == (80, 60)


@pytest.mark.parametrize(
    ("exif", "taken"),
    [
        (files.exif(offset="+01:00"), "2025-03-12T11:40:05+01:00"),
        (files.exif(offset="noon"), "2025-03-12T11:40:05"),
        (files.exif(taken="0000:00:00 00:00:00"), ""),
        (files.exif(taken="yesterday"), ""),
        (b"Exif\0\0not a directory", ""),
        (b"", ""),
    ],
)
def test_the_time_is_the_camera_s_own_or_none(exif: Image.Exif | bytes, taken: str) -> None:
    assert fit_picture(files.jpeg(exif=exif)).taken == taken


def test_a_long_edge_is_shortened_and_a_small_picture_stays_as_it_is() -> None:
    assert fit_picture(files.jpeg(4000, 1000)).width == picture.LONG_EDGE == 1600
    tall = fit_picture(files.jpeg(1000, 4000))
    assert (tall.width, tall.height) == (400, 1600)
    assert fit_picture(files.jpeg(2400, 300), picture.PAPER_EDGE).width == 2400
    assert fit_picture(files.jpeg(10, 8)).width == 10


def test_a_picture_lying_on_its_side_is_put_upright() -> None:
    """Exif orientation 6: what the file calls its upper left is seen at the upper right."""
    kept = fit_picture(files.jpeg(200, 100, exif=files.exif(orientation=6)))
    assert (kept.width, kept.height) == (100, 200)
    with Image.open(io.BytesIO(kept.content)) as shown:
        red, green, _ = shown.getpixel((80, 20))
        assert red > 200 > 80 > green
        assert shown.getpixel((20, 20))[0] < 80


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_other_forms_become_jpeg_and_what_is_clear_becomes_white(form: str) -> None:
    clear = Image.new("RGBA", (30, 20), (0, 0, 0, 0))
    kept = fit_picture(files.encoded(clear, form, exif=files.exif()))
    assert picture.kind_of(kept.content) == "JPEG" and kept.taken == "2025-03-12T11:40:05"
    with Image.open(io.BytesIO(kept.content)) as shown:
        assert min(shown.getpixel((15, 10))) > 250


@pytest.mark.filterwarnings("ignore:Image size")
@pytest.mark.parametrize(
    ("content", "words"),
    [
        (files.bomb(), "more than 51 million pixels"),
        (files.bomb(7200, 7100), "more than 51 million pixels"),
        (files.jpeg(2000, 2000, quality=95)[:9000], "cut off or damaged"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * 50, "cut off or damaged"),
        (files.encoded(files.picture(), "GIF"), "Only JPEG, PNG and WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", "Only JPEG, PNG and WebP"),
        (b"GIF89a\xff\xd8\xff", "Only JPEG, PNG and WebP"),
    ],
    ids=["bomb", "a little too large", "cut off", "damaged", "gif", "svg", "mixed"],
)
def test_what_can_not_be_kept_is_refused_in_words(content: bytes, words: str) -> None:
    with pytest.raises(Unfit, match=words):
        fit_picture(content)


def test_a_small_picture_is_small() -> None:
    made = picture.small(fit_picture(files.jpeg(1600, 1200)).content)
    with Image.open(io.BytesIO(made)) as shown:
        assert shown.size == (320, 240)
    assert len(made) < 20_000


# --- kept with a draft ----------------------------------------------------------------------------


@pytest.fixture
def draft(world: World) -> CheckEvent:
    return filled(started(world, world.forward), world)


def added(world: World, draft: CheckEvent, content: bytes | None = None, **how: object) -> Photo:
    return add_photo(event=draft, by=world.person("technician1"), content=content or files.jpeg(), **how)


def test_a_photo_is_kept_with_its_digest_and_sent_twice_is_one(world: World, draft: CheckEvent) -> None:
    step = draft.revision.steps.first()
    photo = added(world, draft, step=step, remark=" fluid at the joint ")
    assert photo.remark == "fluid at the joint" and photo.taken == "2025-03-12T11:40:05"
    stored = photo_files.read(photo)
    assert photo_files.digest(stored) == photo.sha256 and len(stored) == photo.size
    assert added(world, draft, step=step).pk == photo.pk
    assert added(world, draft).pk != photo.pk, "the same picture of the whole check is another one"
    assert added(world, draft).step is None and draft.photos.count() == 2


def test_a_paper_original_is_kept_unchanged_as_pdf(world: World, draft: CheckEvent) -> None:
    paper = added(world, draft, files.PDF, kind=Photo.Kind.PAPER)
    assert photo_files.read(paper) == files.PDF and not paper.is_picture
    scan = added(world, draft, files.jpeg(2000, 300), kind=Photo.Kind.PAPER)
    assert scan.width == 2000, "a scan keeps more of its detail than a photo"
    with pytest.raises(RecordError, match="scan of a paper original"):
        added(world, draft, files.PDF)


def test_what_is_refused_leaves_nothing(world: World, draft: CheckEvent, monkeypatch) -> None:
    other = started(world, world.underfloor)
    for content, how, words in (
        (b"", {}, "is empty"),
        (files.jpeg() + b"0" * picture.MAX_BYTES, {}, "at most 8 MB"),
        (b"MZ" * 40, {}, "Only JPEG"),
        (None, {"step": other.revision.steps.first()}, "no such step"),
        (None, {"kind": "film"}, "film"),
    ):
        with pytest.raises(Exception, match=words):
            evidence.add_photo(
                event=draft,
                by=world.person("technician1"),
                content=files.jpeg() if content is None else content,
                **how,
            )
    monkeypatch.setattr(evidence, "MOST", 1)
    added(world, draft)
    with pytest.raises(RecordError, match="at most 1 files"):
        added(world, draft, files.jpeg(colour="navy"))
    with pytest.raises(RecordError, match="role lacks it"):
        add_photo(event=draft, by=world.person("auditor1"), content=files.jpeg())
    assert draft.photos.count() == 1 and len(default_storage.listdir("evidence")[1]) == 1


def test_taken_away_or_thrown_away_the_file_goes_too(
    world: World, draft: CheckEvent, django_capture_on_commit_callbacks
) -> None:
    first, second = added(world, draft), added(world, draft, files.jpeg(colour="navy"))
    with django_capture_on_commit_callbacks(execute=True):
        remove_photo(photo=first, by=world.person("technician1"))
    assert photo_files.read(first) is None and photo_files.read(second)
    with django_capture_on_commit_callbacks(execute=True):
        discard_draft(event=draft, by=world.person("technician1"))
    assert photo_files.read(second) is None and not Photo.objects.exists()


# --- signed ---------------------------------------------------------------------------------------


@pytest.fixture
def signed(world: World, draft: CheckEvent) -> CheckEvent:
    added(world, draft, remark="before")
    return sign_performed(event=draft, by=world.person("technician1"), password=PASSWORD)


def test_the_digest_is_part_of_the_signed_record(world: World, signed: CheckEvent) -> None:
    (row,) = json.loads(first_record(signed).canonical)["photos"]
    photo = signed.photos.get()
    assert (row["sha256"], row["remark"], row["taken"]) == (photo.sha256, "before", "2025-03-12T11:40:05")
    assert verify_event(signed) == [] and verify_chain(world.forward.chain) == []
    assert photo_files.file_faults(signed) == []


def test_a_record_without_photos_or_handovers_names_neither(world: World) -> None:
    """Form v1 of such a check is what it was before there were any: the same keys, no more."""
    event = performed(world, world.forward)
    told = json.loads(first_record(event).canonical)
    parts = {"event", "names", "readings", "observations", "cautions_followed", "results", "resets"}
    head = {"act", "at", "chain", "form", "number", "signature", "instruments"}
    assert set(told) == parts | head
    assert set(json.loads(canonical_json(event_payload(event)))) == parts | {"instruments"}
    assert verify_event(event) == []
    with guards_lifted(connection):
        photo = Photo(event=event, stored="x", size=1, sha256="0" * 64, added_at=event.signed_at)
        photo.added_by = world.person("technician1")
        photo.save()
    assert verify_event(event) == ["photos differ from what was signed"]


def test_after_signing_nothing_is_added_changed_or_taken_away(world: World, signed: CheckEvent) -> None:
    photo = signed.photos.get()
    with pytest.raises(RecordError, match="signed and can't change"):
        added(world, signed, files.jpeg(colour="navy"))
    with pytest.raises(RecordError, match="signed and can't change"):
        remove_photo(photo=photo, by=world.person("technician1"))
    for act in (photo.delete, lambda: Photo.objects.filter(pk=photo.pk).update(remark="after")):
        with pytest.raises(IntegrityError), transaction.atomic():
            act()
    assert photo_files.read(photo)


def test_a_photo_of_a_draft_is_never_changed_either(world: World, draft: CheckEvent) -> None:
    photo = added(world, draft)
    with pytest.raises(IntegrityError, match="added or removed"), transaction.atomic():
        Photo.objects.filter(pk=photo.pk).update(sha256="0" * 64)


def test_a_file_changed_or_lost_is_found(world: World, signed: CheckEvent) -> None:
    photo = signed.photos.get()
    default_storage.delete(photo.stored)
    assert photo_files.file_faults(signed) == ["photo 1: its file is missing"]
    photo_files.default_storage.save(photo.stored, io.BytesIO(files.jpeg(colour="navy")))
    assert photo_files.file_faults(signed) == ["photo 1: its file is not the one that was kept"]


def test_a_correction_takes_the_photos_along_and_never_their_files_away(
    world: World, signed: CheckEvent, django_capture_on_commit_callbacks
) -> None:
    draft = correct(event=signed, by=world.person("technician1"), reason="The remark was wrong.")
    copy, original = draft.photos.get(), signed.photos.get()
    assert (copy.sha256, copy.stored, copy.added_at) == (original.sha256, original.stored, original.added_at)
    with django_capture_on_commit_callbacks(execute=True):
        remove_photo(photo=copy, by=world.person("technician1"))
    assert photo_files.read(original) and verify_event(signed) == []
