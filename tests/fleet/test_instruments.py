"""Calibration of instruments: what counts on a day, the pages, and certificate files in and out."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet import certificates
from fleet.models import Calibration, Instrument
from fleet.models.instruments import DUE_SOON, IN_CALIBRATION, NOT_NEEDED, OUT_OF_CALIBRATION

pytestmark = pytest.mark.django_db

DAY = dt.date(2025, 6, 15)
PDF = b"%PDF-1.7 invented"
PNG = b"\x89PNG\r\n\x1a\n" + b"invented"
JPEG = b"\xff\xd8\xff\xe0" + b"invented"


def make_instrument(code: str = "g1", **more) -> Instrument:
    values = {
        "kind": "gauge",
        "owner": "ourselves",
        "unit": "kPa",
        "range_low": 0,
        "range_high": 400,
        "resolution": 2,
        "accuracy_kind": "absolute",
        "accuracy": 4,
    }
    return Instrument.objects.create(code=code, **values | more)


def calibrate(instrument: Instrument, done: dt.date, due: dt.date, result: str = "passed") -> Calibration:
    return instrument.calibrations.create(
        calibrated_on=done, due_on=due, result=result, certificate_number=f"C-{done}"
    )


def state(instrument: Instrument, on: dt.date = DAY) -> str:
    return Instrument.objects.with_calibration(on, 30).get(pk=instrument.pk).calibration_state


# What counts on a day -----------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("due_in", "expected"),
    [(-1, OUT_OF_CALIBRATION), (0, DUE_SOON), (30, DUE_SOON), (31, IN_CALIBRATION)],
)
def test_the_due_day_still_counts(due_in, expected):
    gauge = make_instrument()
    calibration = calibrate(gauge, dt.date(2024, 6, 1), DAY + dt.timedelta(days=due_in))
    assert state(gauge) == expected
    covered = Calibration.objects.covering(DAY).first()
    assert covered == (None if expected == OUT_OF_CALIBRATION else calibration)


def test_without_any_calibration():
    assert state(make_instrument()) == OUT_OF_CALIBRATION
    assert state(make_instrument("beaker", needs_calibration=False)) == NOT_NEEDED


def test_a_failed_calibration_ends_an_older_good_one():
    gauge = make_instrument()
    good = calibrate(gauge, dt.date(2025, 1, 1), dt.date(2026, 1, 1))
    failed_on = dt.date(2025, 6, 1)
    calibrate(gauge, failed_on, dt.date(2026, 6, 1), "failed")
    assert state(gauge) == OUT_OF_CALIBRATION
    assert not Calibration.objects.covering(DAY).exists()
    before = failed_on - dt.timedelta(days=1)
    assert Calibration.objects.covering(before).get() == good
    assert state(gauge, before) == IN_CALIBRATION


def test_the_newest_counts_even_where_it_is_due_sooner():
    gauge = make_instrument()
    calibrate(gauge, dt.date(2025, 1, 1), dt.date(2027, 1, 1))
    newest = calibrate(gauge, dt.date(2025, 5, 1), dt.date(2025, 7, 1), "adjusted")
    assert Calibration.objects.covering(DAY).get() == newest
    assert state(gauge, dt.date(2025, 8, 1)) == OUT_OF_CALIBRATION


# Certificate files --------------------------------------------------------------------------------
@pytest.mark.parametrize(("content", "kind"), [(PDF, "pdf"), (PNG, "png"), (JPEG, "jpg")])
def test_files_are_known_by_their_content(content, kind):
    kept = certificates.checked(SimpleUploadedFile("../../certificate.exe", content))
    assert kept.name.endswith(f".{kind}")
    assert "certificate" not in kept.name and "/" not in kept.name
    assert kept.read() == content


@pytest.mark.parametrize(
    "content",
    [b"<html><script>alert(1)</script>", b"", b"GIF89a", b" %PDF-1.7", b"MZ\x90", b"<svg xmlns='x'/>"],
)
def test_other_content_is_refused_whatever_its_name(content):
    with pytest.raises(ValidationError, match="PDF, PNG and JPEG"):
        certificates.checked(SimpleUploadedFile("certificate.pdf", content, content_type="application/pdf"))


def test_too_large_a_file_is_refused(monkeypatch):
    monkeypatch.setattr(certificates, "MAX_BYTES", 1024 * 1024)
    with pytest.raises(ValidationError, match="at most 1 MB"):
        certificates.checked(SimpleUploadedFile("c.pdf", PDF + b" " * 1024 * 1024))


@pytest.fixture
def stored(settings) -> Calibration:
    calibration = calibrate(make_instrument("g-1"), dt.date(2025, 1, 1), dt.date(2026, 1, 1))
    calibration.certificate_number = 'A/1 "x"\r\nSet-Cookie: y'
    calibration.certificate_file.save("x.pdf", ContentFile(PDF))
    return calibration


def test_certificate_comes_as_a_download(client_of, auditor, stored):
    response = client_of(auditor).get(reverse("checks:certificate", args=[stored.pk]))
    assert b"".join(response.streaming_content) == PDF
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == 'attachment; filename="g-1-A-1-x-Set-Cookie-y.pdf"'
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert "no-store" in response["Cache-Control"]


def test_certificate_is_only_for_people_signed_in(client, client_of, outsider, stored):
    url = reverse("checks:certificate", args=[stored.pk])
    assert client.get(url).status_code == 302
    assert client_of(outsider).get(url).status_code == 403
    assert client.get(stored.certificate_file.name).status_code == 404
    assert client.get(f"/media/{stored.certificate_file.name}").status_code in (302, 404)


def test_certificate_that_is_not_there(client_of, auditor, stored):
    stored.certificate_file.storage.delete(stored.certificate_file.name)
    assert client_of(auditor).get(reverse("checks:certificate", args=[stored.pk])).status_code == 404
    assert client_of(auditor).get(reverse("checks:certificate", args=[0])).status_code == 404


# Pages --------------------------------------------------------------------------------------------
@pytest.fixture
def today() -> dt.date:
    return timezone.localdate()


def test_list_says_the_state_in_words_with_a_shape(client_of, technician, today):
    calibrate(make_instrument("good"), today - dt.timedelta(days=1), today + dt.timedelta(days=300))
    calibrate(make_instrument("late"), today - dt.timedelta(days=400), today - dt.timedelta(days=35))
    text = client_of(technician).get(reverse("checks:instruments")).content.decode()
    for word in (IN_CALIBRATION, OUT_OF_CALIBRATION):
        before, _, _ = text.partition(f'<span class="word">{word}</span>')
        assert before.rstrip().endswith("</svg>"), f"no shape beside {word}"
    assert f"{today - dt.timedelta(days=35):%d %b %Y}" in text
    assert "ourselves" in text


def test_list_filters_by_state_and_leaves_out_what_is_no_longer_used(client_of, technician, today):
    calibrate(make_instrument("good"), today - dt.timedelta(days=1), today + dt.timedelta(days=300))
    make_instrument("never")
    make_instrument("gone", in_use=False)
    client, url = client_of(technician), reverse("checks:instruments")

    def shown(**asked) -> set[str]:
        text = client.get(url, asked).content.decode()
        codes = ("good", "never", "gone")
        return {code for code in codes if reverse("checks:instrument_detail", args=[code]) in text}

    assert shown() == {"good", "never"}
    assert shown(state=OUT_OF_CALIBRATION) == {"never"}
    assert shown(use="no") == {"gone"}
    assert shown(use="all") == {"good", "never", "gone"}
    assert shown(words="goo") == {"good"}


def test_detail_shows_every_calibration(client_of, technician, stored):
    calibrate(stored.instrument, dt.date(2023, 1, 1), dt.date(2024, 1, 1), "failed")
    url = reverse("checks:instrument_detail", args=["good"])
    assert client_of(technician).get(url).status_code == 404
    Instrument.objects.filter(pk=stored.instrument_id).update(code="good")
    stored.instrument.calibrations.filter(result="failed").update(error_found="-9.5")
    page = client_of(technician).get(url)
    text = page.content.decode()
    assert reverse("checks:certificate", args=[stored.pk]) in text
    assert "no file" in text and "failed" in text
    assert [error for _, error in page.context["calibrations"]] == [None, "−9.5"]


@pytest.mark.parametrize(
    ("unit", "shown"), [("[psi]", "0 to 400 psi"), ("Cel", "0 to 400 °C"), ("odd", "0 to 400 odd")]
)
def test_units_are_written_as_people_write_them(client_of, technician, unit, shown):
    make_instrument(unit=unit)
    for address in (reverse("checks:instruments"), reverse("checks:instrument_detail", args=["g1"])):
        assert shown in client_of(technician).get(address).content.decode()


def test_queries_do_not_grow_with_the_instruments(client_of, technician, today):
    client, url = client_of(technician), reverse("checks:instruments")

    def queries(number: int) -> int:
        for n in range(Instrument.objects.count(), number):
            calibrate(make_instrument(f"g{n}"), today, today + dt.timedelta(days=90))
        with CaptureQueriesContext(connection) as caught:
            assert f"g{number - 1}" in client.get(url).content.decode()
        return len(caught)

    client.get(url)
    assert queries(2) == queries(22)
