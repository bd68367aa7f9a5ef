"""The sheet of a package: one sheet of paper, codes that a decoder reads back, boxes for the handover."""

import datetime as dt
import io
from collections.abc import Callable, Iterator

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from checks.models import PartNeeded, StockItem, WorkPackage
from checks.services.due import refresh_due
from checks.services.packages import accept_package
from checks.services.record import start_check
from reports.package import package_sheet
from tests.checks.packaging import CONCENTRATION, SKIN, due_in, only, planned, shared
from tests.reports.qr_reader import codes
from tests.snapshot import once
from tests.world import TODAY, World, build_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _noon() -> Iterator[None]:
    with time_machine.travel(dt.datetime.combine(TODAY, dt.time(12), dt.UTC), tick=False):
        yield


@pytest.fixture
def world() -> World:
    return once(("a package on paper",), _world)


def _world() -> World:
    world = build_world()
    shared()
    due_in(world, world.forward, CONCENTRATION, 14)
    due_in(world, world.forward, SKIN, 16)
    planned(world)
    accept_package(package=only(world.forward), by=world.person("controller1"))
    return world


def sheet(world: World) -> object:
    return package_sheet(only(world.forward).pk, lambda path: f"https://checks.example{path}")


def test_checks_in_order_with_what_is_made_ready_once(world: World) -> None:
    told = sheet(world)
    assert [(one.number, one.task, one.revision) for one in told.checks] == [
        (1, "Fluid concentration", world.revision(world.forward, CONCENTRATION).number),
        (2, "Panel skin care", world.revision(world.forward, SKIN).number),
    ]
    assert told.ready == (("Stand", "access", "1, 2"), ("Gauge", "equipment", "1"))
    assert told.checks[0].link == (
        "https://checks.example/checks/new/?aircraft=Q-0000&task=fluid-concentration"
    )
    assert told.accepted == "Controller 1, 12 Mar 2025"


def test_a_check_begun_is_opened_and_not_begun_again(world: World) -> None:
    procedure = world.revision(world.forward, SKIN).procedure
    event = start_check(
        aircraft=world.forward, procedure=procedure, by=world.person("technician1"), work_date=TODAY
    )
    second = sheet(world).checks[1]
    assert second.link.endswith(f"/checks/{event.pk}/") and second.link_words == "opens the check begun"


def test_parts_and_fluid_are_added_up(world: World) -> None:
    procedure = world.revision(world.forward, SKIN).procedure
    procedure.fluid_litres = "1.5"
    procedure.save()
    item = StockItem.objects.create(part_number="P-1", name="Seal", kind="seal")
    PartNeeded.objects.create(procedure=procedure, item=item, pieces=2)
    before = sheet(world).needed
    assert "2 × P-1 Seal" in before and any(words.startswith("Fluid: about ") for words in before)
    due_in(world, world.forward, SKIN, 120)  # done meanwhile: nothing is needed for it any more
    refresh_due()
    assert "2 × P-1 Seal" not in sheet(world).needed


def test_one_sheet_with_codes_and_boxes(world: World, client_of: Callable[..., Client]) -> None:
    browse = client_of(world.person("technician1"))
    answer = browse.get(f"/reports/packages/{only(world.forward).pk}.pdf")
    assert answer["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    assert len(reader.pages) == 1
    for words in (
        "Handed over",
        "Taken over",
        "Uncontrolled when printed",
        "North Skerry",
        "Wed 26 Mar 2025",
        "no instruction and no release",
        "Panel skin care",
        "Parts and fluid needed",
    ):
        assert words in text, words
    read = codes(answer.content)
    assert f"http://testserver/packages/{only(world.forward).pk}/" in read
    assert "http://testserver/checks/new/?aircraft=Q-0000&task=panel-skin" in read


def test_what_is_not_there_is_not_found(world: World, client_of: Callable[..., Client]) -> None:
    assert client_of(world.person("auditor1")).get("/reports/packages/98765.pdf").status_code == 404


def test_questions_do_not_grow_with_the_checks(world: World) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as found:
            sheet(world)
        return len(found)

    few, package = asked(), WorkPackage.objects.get()
    for code in ("wet-out", "slinger", "windshield", "pump-output", "pressure-flow"):
        package.checks.create(check_due=world.recurring(world.forward, code))
    assert asked() == few
