"""An implausible reading on a phone: asked about at once, without a network too, and answered."""

import datetime as dt

import pytest

from checks.models import CheckEvent
from checks.services.drift import refresh_drift
from tests.browser import runner as run
from tests.world import World, build_world

AGO = (160, 130, 100, 70, 40)
PHONE = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)
DESK = pytest.mark.parametrize("browser_page", [1280], ids=["1280px"], indirect=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    """The test port of the first aircraft has read 96 kPa five times, its nozzle 170 mL/min."""
    made = build_world(today=dt.date.today())
    for day in AGO:
        on = made.today - dt.timedelta(days=day)
        made.signed(made.forward, on, values={"port": "96", "nozzle": "170"})
    refresh_drift()
    return made


def at_the_series(page, world: World) -> None:
    run.start(page, world)
    page.clock.install()
    page.clock.resume()
    run.to(page, "Step 12 of 20")
    run.choose_instrument(page)
    run.temperature(page).fill("20")
    run.to(page, "Step 14 of 20")
    run.choose_instrument(page)


def settle(page, value: str) -> None:
    for minute in (1, 2, 3):
        run.clock_to(page, 60 * minute)
        run.enter(page, value if minute == 1 else None)


def draft() -> CheckEvent:
    return CheckEvent.objects.get(state="draft")


@PHONE
def test_a_settled_value_is_asked_about_without_a_network_and_read_again(
    browser_page, sign_in, world: World
) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    at_the_series(page, world)
    page.context.set_offline(True)
    asked = page.locator(".asked:visible")
    settle(page, "131")
    assert asked.locator("[data-words]").inner_text().startswith("Expected ")
    assert asked.locator("[data-words]").inner_text().endswith("kPa at 20 °C on this aircraft; read 131")
    said = page.locator("[data-say]:visible")
    said.get_by_text("Settled at 3:0").wait_for()
    assert "A question about it is open" in said.inner_text() and "may begin" not in said.inner_text()
    run.fits(page)
    page.get_by_role("button", name="Read again").click()
    asked.wait_for(state="hidden")
    first = page.locator("[data-first]:visible")
    assert "131" in first.inner_text() and "It stays on record beside the repeat" in first.inner_text()
    page.locator("[data-pump]:visible").click()
    run.until(lambda: page.locator("[data-series] [data-shows]").inner_text().startswith("0:0"))
    settle(page, "96")
    assert asked.count() == 0
    said.get_by_text("The next step may begin.").wait_for()
    page.context.set_offline(False)
    run.wait_sent(page)
    run.until(lambda: draft().first_readings.count() == 3)
    assert list(draft().first_readings.values_list("typed", flat=True)) == ["131"] * 3
    assert draft().questions.get().answer == "repeated"
    assert list(draft().readings.filter(role="series").values_list("typed", flat=True)) == ["96"] * 3
    assert "The server decides" not in run.words(page)


@PHONE
def test_whoever_insists_gives_a_reason_and_goes_on(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    at_the_series(page, world)
    settle(page, "131")
    page.locator("[data-run-list] summary").click()
    assert "open" in page.locator("[data-run-list] [aria-current] em").inner_text()
    page.locator("[data-run-list] summary").click()
    page.get_by_label("Or why it stands as read").locator("visible=true").fill("Read twice")
    page.keyboard.press("Tab")
    page.locator("[data-say]:visible").get_by_text("The next step may begin.").wait_for()
    assert "done" in page.locator("[data-run-list] [aria-current] em").text_content()
    run.wait_sent(page)
    run.until(lambda: draft().questions.filter(answer="kept", reason="Read twice").exists())
    page.reload()
    run.ready(page)
    assert page.get_by_label("Or why it stands as read").locator("visible=true").input_value() == "Read twice"
    run.fits(page)


@PHONE
def test_what_the_server_alone_asks_is_shown(browser_page, sign_in, world: World) -> None:
    """The page was loaded before the night's pass made the fit tell something: the server decides."""
    page = browser_page
    sign_in(world.person("technician1"))
    at_the_series(page, world)
    page.evaluate(
        "import('/static/checks/run/page.js').then(({ run }) => {"
        " for (const step of Object.values(run.steps)) step.expect = null; })"
    )
    settle(page, "131")
    run.wait_for_words(page, "the server asks, this phone does not")
    assert page.locator(".asked:visible [data-words]").inner_text().startswith("Expected ")


@DESK
def test_a_value_typed_over_another_keeps_the_first(browser_page, sign_in, world: World) -> None:
    """On the whole form, a volume that is far off and is put right without a further word."""
    page = browser_page
    sign_in(world.person("technician1"))
    page.goto(f"/checks/new/?aircraft={world.forward.registration}")
    page.get_by_role("button", name="Pressure and flow check").click()
    run.ready(page)
    page.locator("#step-12").get_by_label("Temperature", exact=True).fill("20")
    volume = page.locator("#step-15 [name$='-0-typed']")
    volume.fill("17")
    volume.press("Tab")
    asked = page.locator("#step-15 .asked")
    assert asked.locator("[data-words]").inner_text().endswith("read 17")
    run.fits(page)
    volume.fill("170")
    volume.press("Tab")
    asked.wait_for(state="hidden")
    assert "17" in page.locator("#step-15 [data-first]").inner_text()
    run.wait_sent(page)
    run.until(lambda: draft().first_readings.filter(typed="17").exists())


@DESK
@pytest.mark.parametrize("way", ["typed over", "left out"])
def test_rows_of_a_series_changed_by_hand_keep_the_first(
    browser_page, sign_in, world: World, way: str
) -> None:
    """On the whole form: a row typed over, or rows left out until the series settles elsewhere."""
    page = browser_page
    sign_in(world.person("technician1"))
    page.goto(f"/checks/new/?aircraft={world.forward.registration}")
    page.get_by_role("button", name="Pressure and flow check").click()
    run.ready(page)
    page.locator("#step-12").get_by_label("Temperature", exact=True).fill("20")
    step = page.locator("#step-14")
    step.locator("select[data-sets]").select_option(index=1)

    def row(number: int, value: str) -> None:
        field = step.locator(f"[name$='-{number}-typed']")
        field.fill(value)
        field.press("Tab")

    for number in (1, 2, 3):
        row(number, "131")
    asked = step.locator(".asked")
    assert asked.locator("[data-words]").inner_text().endswith("read 131")
    row(4, "131")  # one more is no replacement
    assert step.locator("[data-first]").is_hidden()
    if way == "typed over":
        for number in (1, 2, 3, 4):
            row(number, "96")
    else:
        for number in (1, 2, 3):
            row(number, "")
        for number in (4, 5):
            row(number, "96")
    asked.wait_for(state="hidden")
    assert step.locator("[data-first]").inner_text().count("131") == 4
    run.wait_sent(page)
    run.until(lambda: draft().first_readings.count() == 4)
    assert set(draft().first_readings.values_list("typed", flat=True)) == {"131"}
    assert set(draft().readings.filter(role="series").values_list("typed", flat=True)) == {"96"}
    assert draft().questions.get().answer == "repeated"
