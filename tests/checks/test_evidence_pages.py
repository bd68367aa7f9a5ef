"""Pages of photos: adding, taking away, the files with their headers, the record on screen and paper."""

import io

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from checks.models import CheckEvent, Photo
from checks.services.evidence import add_photo
from checks.services.sign import sign_performed
from tests.checks import evidence_files as files
from tests.checks.check_pages import address, logged_in, world_at_noon
from tests.checks.work import filled, started
from tests.world import PASSWORD, World


@pytest.fixture
def world(db: None):
    yield from world_at_noon()


@pytest.fixture
def draft(world: World) -> CheckEvent:
    return filled(started(world, world.forward), world)


@pytest.fixture
def client(world: World) -> Client:
    return logged_in(world, "technician1")


def upload(content: bytes, name: str = "IMG 1.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content, content_type="image/jpeg")


def sent(client: Client, draft: CheckEvent, content: bytes, accept: str = "text/html", **fields: object):
    data = {"file": upload(content), "kind": "photo"} | fields
    return client.post(address(draft, "photos"), data, headers={"Accept": accept})


def test_a_photo_of_a_step_from_the_draft_s_page(client: Client, draft: CheckEvent) -> None:
    step = draft.revision.steps.last()
    page = client.get(address(draft)).content.decode()
    assert 'enctype="multipart/form-data"' in page and address(draft, "photos") in page
    answer = sent(client, draft, files.jpeg(), step=str(step.pk), remark="dry <area>", back="check")
    assert answer.url == f"{address(draft)}#photos"
    photo = draft.photos.get()
    assert (photo.step, photo.remark) == (step, "dry <area>")
    page = client.get(address(draft)).content.decode()
    assert (
        f"Step {step.number}: dry &lt;area&gt;" in page and "taken 2025-03-12 11:40:05 by the camera" in page
    )
    assert (
        f'<option value="{step.pk}" selected>'
        in client.get(address(draft, "photos"), {"step": step.pk}).content.decode()
    )
    assert "style=" not in page


def test_a_browser_that_asks_for_data_is_answered_so(client: Client, draft: CheckEvent) -> None:
    kept = sent(client, draft, files.jpeg(), accept="application/json")
    assert kept.json() == {"state": "kept"} and draft.photos.count() == 1
    refused = sent(client, draft, b"MZ not a picture", accept="application/json")
    assert refused.status_code == 422 and "Only JPEG" in refused.json()["words"]
    other = sent(client, draft, files.jpeg(colour="navy"), accept="application/json", person="0")
    assert other.status_code == 403 and other.json()["state"] == "other person"
    assert draft.photos.count() == 1


def test_what_is_wrong_is_said_beside_the_field_and_the_rest_stays(client: Client, draft: CheckEvent) -> None:
    answer = sent(client, draft, b"MZ not a picture", remark="left wing")
    text = answer.content.decode()
    assert answer.status_code == 422 and "Only JPEG, PNG and WebP pictures are kept" in text
    assert 'value="left wing"' in text and 'id="photo-file_error"' in text
    assert client.post(address(draft, "photos"), {"kind": "photo"}).status_code == 422
    assert not Photo.objects.exists()


def test_taken_away_and_gone_twice(client: Client, draft: CheckEvent) -> None:
    sent(client, draft, files.jpeg())
    key = str(draft.photos.get().pk)
    for given in (key, key, "x", ""):
        answer = client.post(address(draft, "photos"), {"do": "remove", "photo": given})
        assert answer.status_code == 302
    assert not draft.photos.exists()


@pytest.fixture
def signed(world: World, draft: CheckEvent) -> CheckEvent:
    person = world.person("technician1")
    add_photo(event=draft, by=person, content=files.jpeg(800, 600), remark="nozzle", step=None)
    add_photo(event=draft, by=person, content=files.PDF, kind=Photo.Kind.PAPER)
    return sign_performed(event=draft, by=person, password=PASSWORD)


def test_a_picture_is_shown_and_a_pdf_is_only_handed_out(world: World, signed: CheckEvent) -> None:
    reader = logged_in(world, "auditor1")
    photo, paper = signed.photos.order_by("pk")
    shown = reader.get(reverse("checks:evidence_file", args=[signed.pk, photo.pk]))
    small = reader.get(reverse("checks:evidence_small", args=[signed.pk, photo.pk]))
    handed = reader.get(reverse("checks:evidence_file", args=[signed.pk, paper.pk]))
    for answer in (shown, small, handed):
        assert answer["X-Content-Type-Options"] == "nosniff" and "no-store" in answer["Cache-Control"]
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert shown["Content-Type"] == small["Content-Type"] == "image/jpeg"
    assert Image.open(io.BytesIO(small.content)).size == (320, 240)
    assert handed.content == files.PDF and handed["Content-Disposition"].startswith("attachment;")
    assert reader.get(reverse("checks:evidence_small", args=[signed.pk, paper.pk])).status_code == 404
    anonymous = Client().get(reverse("checks:evidence_file", args=[signed.pk, photo.pk]))
    assert anonymous.status_code == 302 and "/login/" in anonymous.url


def test_a_photo_of_another_check_and_a_changed_file_are_not_there(world: World, signed: CheckEvent) -> None:
    reader, photo = logged_in(world, "auditor1"), signed.photos.first()
    other = started(world, world.forward)
    assert reader.get(reverse("checks:evidence_file", args=[other.pk, photo.pk])).status_code == 404
    default_storage.delete(photo.stored)
    default_storage.save(photo.stored, io.BytesIO(b"something else"))
    assert reader.get(reverse("checks:evidence_file", args=[signed.pk, photo.pk])).status_code == 404


def test_the_record_shows_them_with_their_digest_and_no_way_to_change(
    world: World, client: Client, signed: CheckEvent
) -> None:
    page = client.get(address(signed)).content.decode()
    photo = signed.photos.first()
    assert photo.sha256 in page and 'alt="The whole check: nozzle"' in page and "Take away" not in page
    own = client.get(address(signed, "photos")).content.decode()
    assert "nothing can be added or taken away" in own and 'type="file"' not in own
    answer = sent(client, signed, files.jpeg(colour="navy"))
    assert answer.status_code == 422
    assert signed.photos.count() == 2


def test_the_sheet_shows_them_small_and_says_where_a_file_is_not_the_one(
    world: World, client: Client, signed: CheckEvent
) -> None:
    def sheet() -> tuple[str, int]:
        made = client.get(reverse("reports:record_pdf", args=[signed.pk])).content
        pages = PdfReader(io.BytesIO(made)).pages
        return " ".join(" ".join(p.extract_text().split()) for p in pages), sum(len(p.images) for p in pages)

    text, pictures = sheet()
    photo, paper = signed.photos.order_by("pk")
    assert pictures == 1 and "1. The whole check, photo: nozzle" in text
    assert photo.sha256[:32] in text and paper.sha256[32:] in text and "Taken 2025-03-12 11:40:05" in text
    assert "DO NOT RELY" not in text
    default_storage.delete(photo.stored)
    text, pictures = sheet()
    assert pictures == 0 and "DO NOT RELY ON THIS SHEET" in text and "NOT SHOWN: its file is missing" in text


def test_more_photos_cost_no_more_queries(world: World, client: Client, draft: CheckEvent) -> None:
    def cost(page: str) -> int:
        with CaptureQueriesContext(
            connection,
        ) as counted:
            assert client.get(page).status_code == 200
        return len(counted)

    colours = [f"#{n:02x}{n:02x}80" for n in range(0, 220, 10)]
    steps = list(draft.revision.steps.all())
    for colour in colours[:2]:
        add_photo(
            event=draft, by=world.person("technician1"), content=files.jpeg(colour=colour), step=steps[0]
        )
    cost(address(draft))
    few = [cost(address(draft)), cost(address(draft, "photos"))]
    for n, colour in enumerate(colours[2:]):
        step = steps[n % len(steps)]
        add_photo(event=draft, by=world.person("technician1"), content=files.jpeg(colour=colour), step=step)
    assert draft.photos.count() == 22
    assert [cost(address(draft)), cost(address(draft, "photos"))] == few
