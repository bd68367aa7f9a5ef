"""Entering and correcting utilisation: the services, and the pages on top of them."""

from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from checks.models import DuePoint
from fleet.models import Aircraft, Fitment, Part, UtilisationEntry
from fleet.services import correct_utilisation, enter_utilisation, fit_part, remove_part
from tests.world import build_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(db):
    return build_world()


@pytest.fixture
def craft(world) -> Aircraft:
    return world.forward


@pytest.fixture
def enter(world, craft):
    """Enter for a day so many days ago; the world's own entry is 30 days old with 2000 h, 1500 landings."""

    def entered(ago, hours, landings, **more):
        return enter_utilisation(
            aircraft=craft,
            on=world.master.days_ago(ago),
            hours=Decimal(hours),
            landings=landings,
            by=world.person("controller1"),
            **more,
        )

    return entered


def refusal(call) -> dict[str, list[str]]:
    with pytest.raises(ValidationError) as refused:
        call()
    return refused.value.message_dict


# Services -----------------------------------------------------------------------------------------
def test_entry_is_kept_as_given(enter, world):
    entry = enter(10, "2010.50", 1510, kind="meter_change", remark="new meter", source="log page 4")
    entry.refresh_from_db()
    assert (entry.hours, entry.landings, entry.kind) == (Decimal("2010.50"), 1510, "meter_change")
    assert (entry.remark, entry.source, entry.entered_by) == (
        "new meter",
        "log page 4",
        world.person("controller1"),
    )


def test_refusal_names_the_entry_in_the_way_and_the_figure(enter, craft):
    earlier = craft.utilisation.get()
    errors = refusal(lambda: enter(10, "1999.90", 1499))
    assert set(errors) == {"hours", "landings"}
    assert "1999.90 h is below" in errors["hours"][0]
    assert f"entry {earlier.pk} of {earlier.on:%d %b %Y} (2000.00 h, 1500 landings)" in errors["hours"][0]
    assert "correct that entry first" in errors["hours"][0]
    errors = refusal(lambda: enter(40, "2000.10", 1500))
    assert set(errors) == {"hours"} and "above the later entry" in errors["hours"][0]


def test_a_day_holds_one_entry(enter):
    errors = refusal(lambda: enter(30, "2000.00", 1500))
    assert "Correct that entry instead" in errors["on"][0]


def test_a_day_to_come_is_refused(enter, world):
    ahead = (world.today - timezone.now().date()).days - 2
    assert "still to come" in refusal(lambda: enter(ahead, "2100", 1600))["on"][0]


def test_nothing_is_kept_of_what_is_refused(enter):
    before = UtilisationEntry.objects.count()
    refusal(lambda: enter(10, "-1", 1600))
    refusal(lambda: enter(10, "10", 1600))
    assert UtilisationEntry.objects.count() == before


def test_correction_keeps_both_and_frees_the_way(enter, world, craft):
    wrong = enter(20, "2200.00", 1520)
    refusal(lambda: enter(10, "2015.00", 1530))
    right = correct_utilisation(
        entry=wrong, hours=Decimal("2002.00"), reason="digits", by=world.person("controller1")
    )
    assert (right.on, right.landings, right.remark) == (wrong.on, 1520, "digits")
    enter(10, "2015.00", 1530)
    assert list(craft.utilisation.standing().values_list("hours", flat=True)) == [
        Decimal("2000.00"),
        Decimal("2002.00"),
        Decimal("2015.00"),
    ]
    assert craft.utilisation.count() == 4


def test_correction_needs_a_reason_and_the_entry_that_stands(enter, world):
    by = world.person("controller1")
    entry = enter(20, "2010.00", 1520)
    assert "remark" in refusal(lambda: correct_utilisation(entry=entry, landings=1521, reason=" ", by=by))
    correct_utilisation(entry=entry, landings=1521, reason="slip", by=by)
    with pytest.raises(ValidationError, match="already corrected by entry"):
        correct_utilisation(entry=entry, landings=1522, reason="slip", by=by)


def test_correction_runs_forwards_too(enter, world):
    entry = enter(20, "2010.00", 1520)
    enter(10, "2020.00", 1530)
    errors = refusal(
        lambda: correct_utilisation(
            entry=entry, hours=Decimal("2020.10"), reason="slip", by=world.person("controller1")
        )
    )
    assert "above the later entry" in errors["hours"][0]


def test_fitting_names_what_is_there(world, craft):
    position = world.master.positions["forward", next(c for v, c in world.master.positions if v == "forward")]
    Fitment.objects.filter(position=position).delete()
    one, two = (Part.objects.create(part_number="X", serial_number=n, kind=position.kind) for n in ("1", "2"))
    day = world.master.days_ago
    fitted = fit_part(part=one, aircraft=craft, position=position, on=day(100))
    errors = refusal(lambda: fit_part(part=two, aircraft=craft, position=position, on=day(50)))
    assert str(one) in errors["position"][0]
    removed = remove_part(fitment=fitted, on=day(50), reason="blocked")
    assert removed.removal_reason == "blocked"
    fit_part(part=two, aircraft=craft, position=position, on=day(50))
    with pytest.raises(ValidationError, match="already removed"):
        remove_part(fitment=fitted, on=day(40))


# Pages --------------------------------------------------------------------------------------------
@pytest.fixture
def desk(client_of, world):
    return client_of(world.person("controller1"))


def page(craft) -> str:
    return reverse("checks:utilisation_enter", args=[craft.registration])


def form(world, ago, hours, landings, **more) -> dict[str, object]:
    return {
        "on": world.master.days_ago(ago).isoformat(),
        "hours": hours,
        "landings": landings,
        "kind": "reading",
        "remark": "",
        **more,
    }


def test_list_shows_the_latest_that_stands(desk, enter, world, craft):
    wrong = enter(20, "2010.00", 1520)
    correct_utilisation(entry=wrong, hours=Decimal("2009.50"), reason="slip", by=world.person("controller1"))
    text = desk.get(reverse("checks:utilisation")).content.decode()
    assert "2009.50" in text and "2010.00" not in text
    assert page(craft) in text


def test_list_is_for_reading_to_those_who_do_not_enter(client_of, world, craft):
    text = client_of(world.person("auditor1")).get(reverse("checks:utilisation")).content.decode()
    assert craft.registration in text and page(craft) not in text


def test_list_filters_and_sorts(desk, world):
    url = reverse("checks:utilisation")
    assert world.forward.registration in desk.get(url, {"registration": "q-0000"}).content.decode()
    assert "No aircraft fits" in desk.get(url, {"registration": "zzz"}).content.decode()
    down = desk.get(url, {"sort": "-registration"}).content.decode()
    assert down.index("Q-0001") < down.index("Q-0000")
    part = desk.get(url, headers={"HX-Request": "true"}).content.decode()
    assert "<html" not in part and world.forward.registration in part


def test_entering_moves_the_due_points(desk, world, craft):
    response = desk.post(page(craft), form(world, 1, "2019.00", 1520))
    assert response.status_code == 302
    assert craft.utilisation.filter(hours=2019).exists()
    assert DuePoint.objects.filter(aircraft=craft).exists()


def test_refusal_keeps_what_was_typed(desk, world, craft):
    response = desk.post(page(craft), form(world, 1, "1999.00", 1520, remark="as read"))
    text = response.content.decode()
    assert response.status_code == 422
    assert 'value="1999.00"' in text and 'value="as read"' in text
    assert "never run backwards" in text
    assert craft.utilisation.count() == 1


def test_more_hours_than_days_have_asks_once(desk, world, craft):
    text = desk.post(page(craft), form(world, 29, "2024.10", 1520)).content.decode()
    assert "24.10 h since" in text and "more than 24 h a day" in text and 'type="checkbox"' in text
    assert desk.post(page(craft), form(world, 29, "2024.10", 1520, sure="on")).status_code == 302
    assert craft.utilisation.filter(hours=Decimal("2024.10")).exists()


def test_words_in_place_of_numbers(desk, world, craft):
    response = desk.post(page(craft), form(world, 1, "two thousand", "many"))
    assert response.status_code == 422
    assert craft.utilisation.count() == 1


def test_correcting_on_the_page(desk, world, craft):
    entry = craft.utilisation.get()
    url = reverse("checks:utilisation_correct", args=[craft.registration, entry.pk])
    assert "2000.00" in desk.get(url).content.decode()
    no_reason = desk.post(url, form(world, 30, "1990.00", 1500))
    assert no_reason.status_code == 422
    assert desk.post(url, form(world, 30, "1990.00", 1500, remark="misread")).status_code == 302
    assert craft.utilisation.standing().get().hours == 1990
    again = desk.post(url, form(world, 30, "1980.00", 1500, remark="misread"))
    assert again.status_code == 422 and "already corrected" in again.content.decode()
    shown = desk.get(page(craft)).content.decode()
    assert "superseded" in shown and "misread" in shown


def test_an_entry_is_corrected_under_its_own_aircraft_only(desk, world, craft):
    entry = craft.utilisation.get()
    url = reverse("checks:utilisation_correct", args=[world.underfloor.registration, entry.pk])
    assert desk.get(url).status_code == 404


def test_queries_do_not_grow_with_the_fleet(client_of):
    world = build_world(aircraft=2)
    client = client_of(world.person("controller1"))
    url = reverse("checks:utilisation")
    client.get(url)
    with CaptureQueriesContext(connection) as two:
        client.get(url)
    for number in range(2, 22):
        Aircraft.objects.create(
            registration=f"Q-{number:04}",
            serial_number=f"more-{number}",
            type_name="T",
            variant=world.forward.variant,
            base=world.forward.base,
            entered_service_on=world.today,
        )
    with CaptureQueriesContext(connection) as many:
        text = client.get(url).content.decode()
    assert "Q-0021" in text
    assert len(many) == len(two)
