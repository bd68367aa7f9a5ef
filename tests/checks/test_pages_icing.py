"""The icing status page: what it says, links, filters, fetches anew and costs."""

import datetime as dt
from io import BytesIO

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from checks.services.defects import raise_defect
from checks.services.due import refresh_due
from fleet.models import Aircraft
from tests.checks.check_pages import OVER, logged_in
from tests.checks.deferring import deferred
from tests.checks.work import performed
from tests.world import World, build_world

URL = "/icing/"


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "auditor1")


def lines(client: Client, **query: object) -> dict[str, str]:
    return {str(line["aircraft"]): line["words"] for line in client.get(URL, query).context["lines"]}


def test_nothing_recorded_against_is_said_and_called_no_permission(world: World, browse: Client) -> None:
    response = browse.get(URL)
    assert lines(browse) == dict.fromkeys(map(str, world.fleet), "nothing recorded against")
    page = response.content.decode()
    assert "It is no permission." in page and "Nothing recorded against any of 2 aircraft." in page
    for outside in ("type approval", "other systems", "fluid on board", "crew’s decision"):
        assert outside in page
    for word in ("may fly", "cleared", "airworthy", "safe to"):
        assert word not in page.lower()


def test_every_reason_leads_to_its_record(world: World, browse: Client) -> None:
    over = performed(world, world.forward, series=OVER)
    low = performed(world, world.underfloor, series=("8", "8", "8", "8"), volume="2")
    response = browse.get(URL)
    reasons = {
        str(line["aircraft"]): [(r.text, r.href, r.tone) for r in line["reasons"]]
        for line in response.context["lines"]
    }
    forward = reasons[world.forward.registration]
    assert forward[0][0].startswith("Open defect since 12 Mar 2025")
    assert forward[0][1:] == (f"/defects/{over.defect.pk}/", "act")
    under = reasons[world.underfloor.registration]
    assert under[0][1:] == (f"/checks/{low.pk}/", "heed")
    assert all(href.startswith("/due/") for text, href, _ in forward[1:])
    for _, href, _ in [*forward, *under]:
        assert browse.get(href).status_code == 200
    assert response.context["against"] == 2


def test_a_reason_without_a_record_of_its_own_leads_to_the_aircraft(world: World, browse: Client) -> None:
    world.forward.state = "stored"
    world.forward.save()
    lines = {line["aircraft"].pk: line["reasons"] for line in browse.get(URL).context["lines"]}
    (reason,) = lines[world.forward.pk]
    assert "stored" in reason.text and browse.get(reason.href).status_code == 200
    assert reason.href == f"/aircraft/{world.forward.registration}/"


def test_a_reason_has_a_shape_and_words_besides_its_colour(world: World, browse: Client) -> None:
    performed(world, world.forward, series=OVER)
    page = browse.get(URL).content.decode()
    start = page.index('<span class="state act"><svg class="shape"')
    assert "Open defect since" in page[start : start + 600]


def test_filters_by_base_and_by_status(world: World, browse: Client) -> None:
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip.")
    world.underfloor.base = world.master.bases["farcape"]
    world.underfloor.save()
    assert list(lines(browse, icing="recorded against")) == [world.forward.registration]
    assert list(lines(browse, icing="nothing recorded against")) == [world.underfloor.registration]
    farcape = world.master.bases["farcape"].pk
    assert list(lines(browse, base=farcape)) == [world.underfloor.registration]
    page = browse.get(URL, {"base": farcape, "icing": "recorded against"}).content.decode()
    assert "No aircraft fits this filter." in page


def test_a_filter_that_is_not_understood_shows_no_list(world: World, browse: Client) -> None:
    response = browse.get(URL, {"icing": "fine"})
    assert "lines" not in response.context
    assert b"The filter was not understood, so no list is shown." in response.content


def test_the_list_fetches_itself_each_minute_with_its_filter(world: World, browse: Client) -> None:
    raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Drip.")
    address = f"{URL}?icing=recorded+against"
    part = browse.get(address, headers={"hx-request": "true"}).content.decode()
    assert part.lstrip().startswith('<div id="list"') and "<html" not in part
    assert f'hx-get="{address}"' in part and 'hx-trigger="every 60s"' in part
    back = browse.get(address, headers={"hx-request": "true", "hx-history-restore-request": "true"})
    assert b"<html" in back.content, "the browser's own back button wants the whole page"


def test_an_aircraft_that_left_is_not_listed(world: World, browse: Client) -> None:
    Aircraft.objects.filter(pk=world.forward.pk).update(state="left")
    assert list(lines(browse)) == [world.underfloor.registration]


def test_without_script_the_page_loads_itself_anew(world: World, browse: Client) -> None:
    for address in (URL, WALL):
        assert '<noscript><meta http-equiv="refresh"' in browse.get(address).content.decode()


# --- on a wall ------------------------------------------------------------------------------------

WALL = "/icing/wall/"


def test_the_wall_shows_the_gravest_of_each_aircraft_and_has_no_menu(world: World, browse: Client) -> None:
    performed(world, world.forward, series=OVER)
    response = browse.get(WALL)
    page = response.content.decode()
    assert 'aria-label="Places"' not in page and "As recorded" in page and "is no permission" in page
    assert "data-stale hidden" in page, "only the script says that the server is silent"
    (one,) = response.context["lines"]
    assert one["first"].text.startswith("Open defect since") and one["tone"] == "act"
    assert [str(craft) for craft in response.context["quiet"]] == [world.underfloor.registration]


def test_the_wall_of_a_base_and_its_part(world: World, browse: Client) -> None:
    world.underfloor.base = world.master.bases["farcape"]
    world.underfloor.save()
    for craft in world.fleet:
        raise_defect(aircraft=craft, by=world.person("technician1"), description="Drip.")
    response = browse.get(WALL, {"base": "farcape"})
    assert [str(line["aircraft"]) for line in response.context["lines"]] == [world.underfloor.registration]
    assert browse.get(WALL, {"base": "none such"}).context["number"] == 2, "rather all than nothing"
    part = browse.get(f"{WALL}?base=farcape&page=9", headers={"hx-request": "true"}).content.decode()
    assert '<div id="wall" hx-get="/icing/wall/?base=farcape&amp;page=1"' in part and "<html" not in part


def test_the_wall_turns_its_screens(db: None, clock) -> None:
    world = build_world(aircraft=16)
    for craft in world.fleet:
        raise_defect(aircraft=craft, by=world.person("technician1"), description="Drip.")
    client, seen, address = logged_in(world, "auditor1"), [], WALL
    for _ in range(3):
        response = client.get(address)
        seen += [str(line["aircraft"]) for line in response.context["lines"]]
        address = response.context["next"]
    assert sorted(seen) == sorted(map(str, world.fleet)) and address == f"{WALL}?page=1"


def test_the_sheet_holds_what_the_page_shows(world: World, browse: Client) -> None:
    performed(world, world.forward, series=OVER)
    file = browse.get("/reports/icing.pdf?icing=recorded+against")
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(file.content)).pages)
    words = " ".join(text.split())
    assert file["Content-Type"] == "application/pdf" and world.forward.registration in words
    assert "Open defect since 12 Mar 2025" in words and "It is no permission." in words
    assert "1 of 1 aircraft with something recorded against" in words
    assert browse.get("/reports/icing.pdf?icing=fine").url.startswith("/icing/")


def test_expired_deferrals_stand_above_the_due_list(world: World, browse: Client, clock) -> None:
    defect = raise_defect(aircraft=world.forward, by=world.person("technician1"), description="Pump slow.")
    deferred(world, defect, "B")
    address = "/defects/expired/"
    assert f'hx-get="{address}"' in browse.get("/due/").content.decode()
    part = {"headers": {"hx-request": "true"}}
    assert "No deferral has expired." in browse.get(address, **part).content.decode()
    clock.shift(dt.timedelta(days=4))
    browse = logged_in(world, "auditor1")
    page = browse.get(address, **part).content.decode()
    assert "deferral expired" in page and 'class="sheet act"' in page and "Pump slow." in page
    assert browse.get(address).url == "/defects/?state=deferral+expired"
    for other in (f"/aircraft/{world.forward}/", "/icing/", "/aircraft/", "/defects/"):
        assert "eferral expired" in browse.get(other).content.decode()
    home = logged_in(world, "controller1").get("/").content.decode()
    assert "deferral expired" in home


def test_strangers_are_refused(world: World, outsider, client_of) -> None:
    assert Client().get(URL).status_code == 302
    assert client_of(outsider).get(URL).status_code == 403


def test_queries_do_not_grow_with_the_fleet(db: None, clock) -> None:
    world = build_world(aircraft=22)
    for craft in world.fleet:
        raise_defect(aircraft=craft, by=world.person("technician1"), description="Drip.")
    refresh_due()
    client = logged_in(world, "auditor1")
    costs = []
    for number in (2, 22):
        Aircraft.objects.update(state="left")
        Aircraft.objects.filter(pk__in=[one.pk for one in world.fleet[:number]]).update(state="in_service")
        with CaptureQueriesContext(connection) as queries:
            assert len(client.get(URL).context["lines"]) == number
        costs.append(len(queries))
    assert costs[0] == costs[1] <= 20
