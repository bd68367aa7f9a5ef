"""Defects on pages: the list, one with its history, raising, deferring and rectifying."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from checks.models import Defect, Deferral, Rectification
from checks.selectors.defects import NOT_KNOWN, STATES, retests, with_states
from checks.selectors.icing import icing_statuses
from checks.services.defects import raise_defect, rectify
from fleet.models import Operator
from tests.checks.check_pages import OVER, logged_in
from tests.checks.deferring import deferred
from tests.checks.work import performed
from tests.world import PASSWORD, World


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "auditor1")


@pytest.fixture
def defect(world: World) -> Defect:
    return raise_defect(
        aircraft=world.forward, by=world.person("technician1"), description="Drip at the tank."
    )


def errors(response) -> dict[str, list[str]]:
    assert response.status_code == 422
    return dict(response.context["form"].errors)


# --- the list -------------------------------------------------------------------------------------


def listed(client: Client, **query: object) -> dict[str, str]:
    return {one.defect.description: one.state for one in client.get("/defects/", query).context["defects"]}


@pytest.fixture
def one_of_each(world: World, clock) -> dict[str, Defect]:
    """A defect in each state, described by it; all on the first aircraft but the open one."""
    by = world.person("technician1")
    made = {
        state: raise_defect(
            aircraft=world.underfloor if state == "open" else world.forward, by=by, description=state
        )
        for state in STATES
    }
    deferred(world, made["deferral expired"], "B")
    Operator.objects.update(stale_use_days=1)
    deferred(world, made[NOT_KNOWN], "30-20-02", from_hours=Decimal(2010))
    deferred(world, made["deferred"], "D")
    deferred(world, made["closed"], "B")
    rectify(defect=made["closed"], by=world.person("releaser1"), password=PASSWORD, text="Replaced.")
    clock.shift(dt.timedelta(days=4))
    return made


def test_states_in_the_list_are_those_of_the_model(one_of_each, world: World, browse: Client) -> None:
    today = world.today + dt.timedelta(days=4)
    told = {one.description: one.now_is for one in with_states(Defect.objects.all(), today)}
    assert told == {state: state for state in STATES}
    assert told == {one.description: one.state(today) for one in Defect.objects.all()}
    assert listed(browse, state="all") == told


def test_the_last_day_of_a_deferral_still_holds(world: World, defect: Defect) -> None:
    last = deferred(world, defect, "B").expires_on
    for day, word in ((last, "deferred"), (last + dt.timedelta(days=1), "deferral expired")):
        assert with_states(Defect.objects.all(), day).get().now_is == word == defect.state(day)


def test_closed_ones_are_left_out_unless_asked_for(one_of_each, browse: Client) -> None:
    assert set(listed(browse)) == set(STATES) - {"closed"}
    for state in STATES:
        assert listed(browse, state=state) == {state: state}


def test_filters_by_base_and_aircraft(one_of_each, world: World, browse: Client) -> None:
    world.underfloor.base = world.master.bases["farcape"]
    world.underfloor.save()
    assert set(listed(browse, base=world.underfloor.base_id)) == {"open"}
    assert set(listed(browse, aircraft=world.underfloor.registration.lower())) == {"open"}
    assert b"No defect fits this filter." in browse.get("/defects/?aircraft=NONE").content
    assert "defects" not in browse.get("/defects/?state=broken").context


def test_an_empty_list_has_words(world: World, browse: Client) -> None:
    assert b"No open or deferred defect is on record." in browse.get("/defects/").content


def test_htmx_gets_the_list_alone(defect: Defect, browse: Client) -> None:
    part = browse.get("/defects/", headers={"hx-request": "true"}).content.decode()
    assert part.lstrip().startswith('<div id="list"') and "Drip at the tank." in part


# --- one defect -----------------------------------------------------------------------------------


def test_its_history_from_check_to_signature(world: World, clock, browse: Client) -> None:
    over = performed(world, world.forward, series=OVER)
    deferral = deferred(world, over.defect, "B")
    clock.shift(60)
    purge = performed(world, world.forward, "panel-purge", follows=over)
    clock.shift(60)
    retest = performed(world, world.forward, follows=purge)
    address = f"/defects/{over.defect.pk}/"
    page = browse.get(address).content.decode()
    assert "A retest within limits closes nothing by itself." in page and "15 Mar 2025" in page
    by = world.person("releaser1")
    closing = rectify(defect=over.defect, by=by, password=PASSWORD, text="Panels purged.", retest=retest)
    response = browse.get(address)
    page = response.content.decode()
    assert response.context["closed"]
    assert [event.pk for event in response.context["story"]] == [over.pk, purge.pk, retest.pk]
    for record in (deferral.record, closing.record):
        assert record.reference in page and record.hash[:16] in page
    assert "Panels purged." in page and "closes nothing by itself" not in page
    assert browse.get("/defects/999/").status_code == 404


@pytest.mark.parametrize(
    ("who", "offered"), [("controller1", ["Defer"]), ("releaser1", ["Sign as rectified"]), ("auditor1", [])]
)
def test_buttons_are_those_of_the_role(world: World, defect: Defect, who: str, offered: list[str]) -> None:
    page = logged_in(world, who).get(f"/defects/{defect.pk}/").content.decode()
    assert [label for label in ("Defer", "Sign as rectified") if f">{label}</a>" in page] == offered


# --- raising --------------------------------------------------------------------------------------


def test_a_person_raises_a_defect_at_a_position(world: World) -> None:
    client = logged_in(world, "inspector1")
    craft, position = world.forward, world.position(world.forward, "wing-lo")
    response = client.post(
        "/defects/raise/",
        {
            "aircraft": craft.registration,
            "source": "by hand",
            "position": position.pk,
            "description": "Dent in the panel.",
        },
    )
    raised = Defect.objects.get()
    assert response.url == f"/defects/{raised.pk}/"
    assert (raised.aircraft, raised.position, raised.raised_by) == (
        craft,
        position,
        world.person("inspector1"),
    )
    (status,) = icing_statuses(at=timezone.now(), aircraft_ids=[craft.pk])
    assert [reason.defect_id for reason in status.reasons] == [raised.pk]


def test_the_aircraft_is_chosen_first(world: World) -> None:
    client = logged_in(world, "technician1")
    page = client.get("/defects/raise/").content.decode()
    assert 'name="aircraft"' in page and 'name="description"' not in page
    page = client.get("/defects/raise/", {"aircraft": world.forward.registration.lower()}).content.decode()
    assert 'name="description"' in page
    assert "fin upper" in page and "left wing middle" not in page, "positions of its own variant alone"
    unknown = client.get("/defects/raise/", {"aircraft": "Q-NONE"}).content.decode()
    assert "No aircraft of the fleet has this registration" in unknown


def test_what_was_typed_comes_back_with_the_error(world: World) -> None:
    client = logged_in(world, "technician1")
    foreign = world.position(world.underfloor, "wing-lm")
    response = client.post(
        "/defects/raise/",
        {
            "aircraft": world.forward.registration,
            "source": "by hand",
            "position": foreign.pk,
            "description": "Long text kept.",
        },
    )
    assert set(errors(response)) == {"position"}
    assert "Long text kept." in response.content.decode() and not Defect.objects.exists()
    given = {"aircraft": world.forward.registration, "source": "by hand", "description": "  "}
    response = client.post("/defects/raise/", given)
    assert errors(response) == {"description": ["Say what was found."]}


# --- rectifying -----------------------------------------------------------------------------------


def test_the_newest_retest_within_limits_is_offered_first(world: World, clock) -> None:
    over = performed(world, world.forward, series=OVER)
    client, address = logged_in(world, "releaser1"), f"/defects/{over.defect.pk}/rectify/"
    assert "no later check of this task within its limits" in client.get(address).content.decode()
    clock.shift(60)
    again = performed(world, world.forward, series=OVER, follows=over)
    clock.shift(60)
    purge = performed(world, world.forward, "panel-purge", follows=again)
    clock.shift(60)
    retest = performed(world, world.forward, follows=purge)
    performed(world, world.underfloor)
    defect = Defect.objects.select_related("event__revision").get(pk=over.defect.pk)
    assert retests(defect) == [retest]
    given = client.get(address).context["form"]
    assert given.initial["retest"] == str(retest.pk)
    response = client.post(
        address, {"text": "Purged.", "retest": str(retest.pk), "without_retest": "", "password": PASSWORD}
    )
    assert response.status_code == 302
    closing = Rectification.objects.get()
    assert (closing.retest, closing.text) == (retest, "Purged.")


def test_a_look_alone_can_be_the_retest_of_a_look(world: World, clock) -> None:
    over = performed(world, world.forward, "wet-out", dry=["wing-lo"])
    assert over.outcome == "over limit"
    clock.shift(60)
    retest = performed(world, world.forward, "wet-out", follows=over)
    assert retest.outcome == "done"
    response = logged_in(world, "releaser1").post(
        f"/defects/{over.defect.pk}/rectify/",
        {"text": "Cleaned.", "retest": str(retest.pk), "without_retest": "", "password": PASSWORD},
    )
    assert response.status_code == 302 and Rectification.objects.get().retest == retest


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"text": ""}, "text"),
        ({"password": "guess"}, "password"),
        ({"without_retest": ""}, "without_retest"),
        ({"retest": "none such"}, "retest"),
    ],
)
def test_a_refused_rectification_keeps_what_was_typed(world: World, wrong: dict, field: str) -> None:
    over = performed(world, world.forward, series=OVER)
    given = {
        "text": "Line replaced.",
        "retest": "",
        "without_retest": "Tested by hand.",
        "password": PASSWORD,
    }
    response = logged_in(world, "releaser1").post(f"/defects/{over.defect.pk}/rectify/", given | wrong)
    assert set(errors(response)) == {field}
    page = response.content.decode()
    for name in ("text", "without_retest"):
        assert (given | wrong)[name] in page
    assert not Rectification.objects.exists()


def test_a_closed_defect_is_neither_deferred_nor_closed_again(world: World, defect: Defect) -> None:
    rectify(defect=defect, by=world.person("releaser1"), password=PASSWORD, text="Sealed.")
    for who, page in (("controller1", "defer"), ("releaser1", "rectify")):
        for method in ("get", "post"):
            response = getattr(logged_in(world, who), method)(f"/defects/{defect.pk}/{page}/")
            assert response.url == f"/defects/{defect.pk}/"
    assert Deferral.objects.count() == 0 and Rectification.objects.count() == 1


# --- what it costs --------------------------------------------------------------------------------


def test_queries_do_not_grow(world: World, defect: Defect, clock, browse: Client) -> None:
    def costs() -> list[int]:
        found = []
        for client, path in (
            (browse, "/defects/"),
            (browse, f"/defects/{over.defect.pk}/"),
            (logged_in(world, "releaser1"), f"/defects/{over.defect.pk}/rectify/"),
        ):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(path).status_code == 200
            found.append(len(queries))
        return found

    over = last = performed(world, world.forward, series=OVER)

    def more(number: int) -> None:
        nonlocal last
        for k in range(number):
            clock.shift(60)
            last = performed(world, world.forward, follows=last)
            other = raise_defect(aircraft=world.forward, by=world.person("technician1"), description=f"{k}")
            deferred(world, other, "D")
            deferred(world, over.defect, "D")

    more(2)
    before = costs()
    more(20)
    assert costs() == before
    assert len(browse.get("/defects/").context["defects"]) == Defect.objects.count()


def test_strangers_are_refused(world: World, defect: Defect, outsider, client_of) -> None:
    for path in ("/defects/", f"/defects/{defect.pk}/"):
        assert Client().get(path).status_code == 302
        assert client_of(outsider).get(path).status_code == 403
