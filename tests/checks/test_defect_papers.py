"""Beside a defect: pilot reports, parts on order, ferry permits, work done outside, release, repeats."""

import datetime as dt
import json
from hashlib import sha256

import pytest
import time_machine
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import Defect, DefectRelease, FerryPermit, OutsideRelease, PartOrder, Rectification
from checks.selectors.icing import icing_statuses
from checks.selectors.repeats import repeats_of
from checks.services.defect_papers import order_part, record_ferry_permit
from checks.services.defect_release import release_rectification
from checks.services.defects import OutsideWork, raise_defect, rectify
from checks.services.errors import RecordError
from fleet.models import Operator
from tests.checks.check_pages import OVER, logged_in
from tests.checks.deferring import deferred
from tests.checks.work import performed
from tests.world import PASSWORD, World

PDF = b"%PDF-1.4 invented certificate"


@pytest.fixture
def defect(world: World) -> Defect:
    return raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Bond lifts.")


def rectified(world: World, defect: Defect, **more: object) -> Rectification:
    by = world.person("releaser1")
    return rectify(defect=defect, by=by, password=PASSWORD, text="Bonded anew.", **more)


# --- where a finding comes from -------------------------------------------------------------------


def test_a_pilot_report_counts_from_its_write_up_and_not_from_typing(world: World) -> None:
    """A 1994 report shows the trap: the clock runs from the write-up (ASRS, 37000feet.com/report/276675)."""
    client = logged_in(world, "technician1")
    given = {
        "aircraft": world.forward.registration,
        "source": "pilot report",
        "reported_by": "Pilot 3",
        "reference": "TL 2198",
        "recorded_on": "2025-03-10",
        "description": "Quantity reads zero.",
    }
    assert client.post("/defects/raise/", given | {"reported_by": ""}).status_code == 422
    assert client.post("/defects/raise/", given | {"recorded_on": "2025-03-13"}).status_code == 422
    response = client.post("/defects/raise/", given, follow=True)
    page = response.content.decode()
    assert "Pilot report by Pilot 3, technical log TL 2198" in page
    defect = Defect.objects.get()
    with pytest.raises(RecordError, match="on record since 10 Mar 2025"):
        deferred(world, defect)
    assert deferred(world, defect, recorded_on=dt.date(2025, 3, 10)).expires_on == dt.date(2025, 3, 20)


# --- parts on order -------------------------------------------------------------------------------


def test_a_changed_date_is_an_entry_of_its_own(world: World, defect: Defect) -> None:
    client, address = logged_in(world, "controller1"), f"/defects/{defect.pk}/part/"
    given = {"what": "Panel", "reference": "PO-1", "expected_on": "2025-03-20"}
    client.post(address, given)
    first = PartOrder.objects.get()
    change = client.get(f"{address}?replaces={first.pk}").context["form"]
    assert change.initial["what"] == "Panel" and change.initial["replaces"] == first
    page = client.post(address, given | {"replaces": first.pk, "arrived_on": "2025-03-12"}, follow=True)
    assert PartOrder.objects.count() == 2 and PartOrder.objects.standing().get().arrived_on == world.today
    assert page.content.decode().count("order PO-1") == 1 and "arrived" in page.content.decode()
    with pytest.raises(RecordError, match="was changed since"):
        order_part(
            defect=defect,
            by=world.person("controller1"),
            what="Panel",
            reference="PO-1",
            expected_on=world.today,
            replaces=first,
        )


# --- ferry permits --------------------------------------------------------------------------------


def test_a_ferry_permit_is_recorded_and_changes_nothing_else(world: World, defect: Defect) -> None:
    before = icing_statuses(at=timezone.now(), aircraft_ids=[world.forward.pk])[0].reasons
    client, address = logged_in(world, "controller1"), f"/defects/{defect.pk}/ferry-permit/"
    given = {
        "number": "FP-1",
        "issuer": "Invented authority",
        "valid_from": "2025-03-12",
        "valid_until": "2025-03-14",
        "conditions": "By day, crew only.",
        "password": PASSWORD,
    }
    wrong = client.post(address, given | {"valid_until": "2025-03-11"})
    assert wrong.status_code == 422 and "can&#x27;t end before it begins" in wrong.content.decode()
    page = client.post(address, given, follow=True).content.decode()
    assert "Granted by others and only recorded here." in page and "By day, crew only." in page
    permit = FerryPermit.objects.get()
    assert json.loads(permit.record.canonical)["permit"]["number"] == "FP-1"
    assert icing_statuses(at=timezone.now(), aircraft_ids=[world.forward.pk])[0].reasons == before
    with pytest.raises(RecordError, match="role lacks it"):
        record_ferry_permit(defect=defect, by=world.person("releaser1"), password=PASSWORD, **fields(permit))


def fields(permit: FerryPermit) -> dict[str, object]:
    names = ("number", "issuer", "valid_from", "valid_until", "conditions")
    return {name: getattr(permit, name) for name in names}


# --- work done outside ----------------------------------------------------------------------------


def test_outside_work_comes_back_with_its_certificate(world: World, defect: Defect) -> None:
    client = logged_in(world, "releaser1")
    given = {
        "text": "Bonded anew.",
        "organisation": "Invented works",
        "certificate_number": "RC-1",
        "released_on": "2025-03-11",
        "password": PASSWORD,
    }
    address = f"/defects/{defect.pk}/rectify/"
    part = client.post(address, given | {"released_on": ""})
    assert part.status_code == 422 and "released_on" in part.context["form"].errors
    kind = client.post(address, given | {"file": SimpleUploadedFile("c.pdf", b"not a pdf")})
    assert kind.status_code == 422 and "file" in kind.context["form"].errors
    assert not Rectification.objects.exists()
    page = client.post(address, given | {"file": SimpleUploadedFile("c.pdf", PDF)}, follow=True)
    kept = OutsideRelease.objects.get()
    assert kept.digest == sha256(PDF).hexdigest()
    told = json.loads(kept.rectification.record.canonical)["outside"]
    assert told == {
        "certificate_number": "RC-1",
        "digest": kept.digest,
        "organisation": "Invented works",
        "released_on": "2025-03-11",
    }
    certificate = f"/defects/release-certificates/{kept.pk}/"
    assert certificate in page.content.decode()
    file = client.get(certificate)
    assert b"".join(file.streaming_content) == PDF and "sandbox" in file["Content-Security-Policy"]


def test_a_certificate_of_tomorrow_is_refused(world: World, defect: Defect) -> None:
    tomorrow = world.today + dt.timedelta(days=1)
    with pytest.raises(RecordError, match="dated in the future"):
        rectified(world, defect, outside=OutsideWork("W", "RC-1", tomorrow, ContentFile(PDF, "c.pdf")))


# --- release after rectification ------------------------------------------------------------------


def test_a_rectification_is_released_by_a_person_once(world: World, defect: Defect) -> None:
    releaser = {"by": world.person("releaser1"), "password": PASSWORD}
    with pytest.raises(RecordError, match="not signed as rectified yet"):
        release_rectification(defect=defect, **releaser)
    client, address = logged_in(world, "releaser1"), f"/defects/{defect.pk}/release/"
    assert client.get(address).url == f"/defects/{defect.pk}/"
    closing = rectified(world, defect)
    assert "I approve the aircraft for return to service" in client.get(address).content.decode()
    page = client.post(address, {"password": PASSWORD}, follow=True).content.decode()
    release = DefectRelease.objects.get()
    assert release.name in page and release.certificate_number in page
    told = json.loads(release.record.canonical)
    assert told["rectified_in"] == closing.record.hash and told["act"] == "defect release"
    with pytest.raises(RecordError, match="Already signed as released"):
        release_rectification(defect=defect, **releaser)
    with pytest.raises(RecordError, match="role lacks it"):
        release_rectification(defect=defect, by=world.person("controller1"), password=PASSWORD)


def test_another_open_defect_bars_the_release(world: World, defect: Defect) -> None:
    rectified(world, defect)
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip.")
    page = logged_in(world, "releaser1").get(f"/defects/{defect.pk}/release/").content.decode()
    assert "Recorded against this release" in page and "Drip." in page and "Sign the release" not in page
    with pytest.raises(RecordError, match="neither rectified nor deferred"):
        release_rectification(defect=defect, by=world.person("releaser1"), password=PASSWORD)


# --- repeats --------------------------------------------------------------------------------------


def test_the_same_position_within_the_operator_s_days_is_a_repeat_with_a_link(
    world: World, clock: time_machine.Traveller
) -> None:
    by, panel = world.person("technician1"), world.position(world.forward, "wing-lo")
    first = raise_defect(aircraft=world.forward, by=by, description="Bond lifts.", position=panel)
    rectified(world, first)
    clock.shift(dt.timedelta(days=Operator.current().repeat_defect_days))
    over = performed(world, world.forward, "wet-out", dry=["wing-lo"], work_date=timezone.localdate())
    raise_defect(aircraft=world.underfloor, by=by, description="Elsewhere.")
    (repeat,) = repeats_of([over.defect])[over.defect.pk]
    assert (repeat.other, repeat.days, repeat.places) == (first, 60, ("left wing outboard",))
    client = logged_in(world, "auditor1")
    page = client.get(f"/defects/{over.defect.pk}/").content.decode()
    assert f'href="/defects/{first.pk}/"' in page and "60 days before: left wing outboard" in page
    page = client.get(f"/defects/{first.pk}/").content.decode()
    assert f'href="/defects/{over.defect.pk}/"' in page and "60 days after: left wing outboard" in page
    assert client.get("/defects/").content.decode().count(">repeat<") == 1
    Operator.objects.update(repeat_defect_days=59)
    assert repeats_of([over.defect]) == {}


def test_the_same_point_over_limit_twice_is_a_repeat(world: World, clock: time_machine.Traveller) -> None:
    over = performed(world, world.forward, series=OVER)
    rectified(world, over.defect, without_retest="Gauge away.")
    clock.shift(60)
    again = performed(world, world.forward, series=OVER, follows=over)
    assert repeats_of([again.defect])[again.defect.pk][0].places == ("system test port",)


def test_repeats_cost_the_same_for_two_defects_and_for_many(world: World) -> None:
    by, panel = world.person("technician1"), world.position(world.forward, "wing-lo")
    made, costs = [], []
    for number in (2, 20):
        made += [
            raise_defect(aircraft=world.forward, by=by, description="x", position=panel)
            for _ in range(number)
        ]
        with CaptureQueriesContext(connection) as queries:
            assert len(repeats_of(made)) == len(made)
        costs.append(len(queries))
    assert costs[0] == costs[1] <= 7
