"""Master data and utilisation in a real browser: a searched choice, and a refusal that keeps all."""

import datetime as dt

from django.urls import reverse

from fleet.models import Aircraft, Base, Fitment, Part, Position, User, UtilisationEntry, Variant
from tests.conftest import PASSWORD


def make_aircraft() -> tuple[User, Aircraft]:
    """An administrator, and one aircraft with one position and 2000 h."""
    user = User.objects.create_superuser("superuser-1", password=PASSWORD)
    base = Base.objects.create(
        code="b", name="B", time_zone="UTC", hemisphere="N", season_month=10, season_day=1
    )
    variant = Variant.objects.create(code="v", name="V")
    Position.objects.create(variant=variant, code="wing", name="left wing inboard", kind="panel")
    aircraft = Aircraft.objects.create(
        registration="Q-1",
        serial_number="1",
        type_name="T",
        variant=variant,
        base=base,
        entered_service_on=dt.date(2020, 1, 1),
    )
    UtilisationEntry.objects.create(
        aircraft=aircraft,
        on=dt.date.today() - dt.timedelta(days=7),
        hours=2000,
        landings=1500,
        entered_by=user,
    )
    return user, aircraft


def test_a_part_is_fitted_by_searching_for_it(browser_page, sign_in, transactional_db) -> None:
    user, aircraft = make_aircraft()
    Part.objects.create(part_number="P-1", serial_number="0077", kind="panel")
    sign_in(user)
    browser_page.goto(reverse("admin:fleet_aircraft_change", args=[aircraft.pk]))
    browser_page.get_by_text("Add another Fitment").click()
    for field, typed in (("position", "left"), ("part", "0077")):
        browser_page.locator(f"#fitments-0 .field-{field} .select2-selection").click()
        browser_page.locator(".select2-search__field").fill(typed)
        browser_page.locator(".select2-results__option--highlighted", has_text=typed).click()
    browser_page.fill("#id_fitments-0-fitted_on", "01/02/2024")
    browser_page.locator("input[name=_save]").first.click()
    browser_page.wait_for_url("**/fleet/aircraft/")
    assert Fitment.objects.get().fitted_on == dt.date(2024, 2, 1)


def test_a_page_with_rows_fits_a_desk(browser_page, sign_in, transactional_db) -> None:
    user, aircraft = make_aircraft()
    Fitment.objects.create(
        aircraft=aircraft,
        position=aircraft.variant.positions.get(),
        part=Part.objects.create(part_number="P-1", serial_number="1", kind="panel"),
        fitted_on=dt.date(2024, 1, 1),
    )
    sign_in(user)
    browser_page.goto(reverse("admin:fleet_aircraft_change", args=[aircraft.pk]))
    browser_page.wait_for_load_state("networkidle")
    wide = browser_page.evaluate("document.documentElement.scrollWidth")
    assert wide <= max(browser_page.viewport_size["width"], 1280)


def test_refused_utilisation_keeps_what_was_typed(browser_page, sign_in, transactional_db) -> None:
    user, aircraft = make_aircraft()
    sign_in(user)
    browser_page.goto(reverse("checks:utilisation_enter", args=[aircraft.registration]))
    browser_page.fill("#id_hours", "1990.00")
    browser_page.fill("#id_landings", "1510")
    browser_page.get_by_role("button", name="Enter").click()
    browser_page.get_by_role("alert").get_by_text("never run backwards").wait_for()
    assert browser_page.input_value("#id_landings") == "1510"
    browser_page.fill("#id_hours", "2010.00")
    browser_page.get_by_role("button", name="Enter").click()
    browser_page.get_by_text("2010.00 h entered").wait_for()
    assert aircraft.utilisation.count() == 2
