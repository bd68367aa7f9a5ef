"""What a whole run asks of a hand in a glove, beside the boxes that the same check has on paper.

`.venv/bin/python -m pytest tests/browser/test_run_effort.py -s` prints both counts.
"""

import datetime as dt

import pytest

from checks.models import CheckEvent
from reports.worksheet import revisions, worksheet
from tests.browser import runner as run
from tests.world import PASSWORD, World, build_world

pytestmark = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)

# Every press of a finger is one pointerdown, however many clicks a browser makes of it. Kept over loads.
COUNTER = """addEventListener('pointerdown', () =>
    sessionStorage.setItem('taps', 1 + Number(sessionStorage.getItem('taps'))), true)"""
LIST = 2  # choosing from a list: one tap opens it, one chooses; playwright sets it without a pointer


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


class Effort:
    """Counts what is typed, and adds the lists to the taps that the page counted."""

    def __init__(self, page) -> None:
        self.page, self.typed, self.lists = page, 0, 0
        page.add_init_script(COUNTER)

    def choose_instrument(self) -> None:
        run.choose_instrument(self.page)
        self.lists += LIST

    def fill(self, field, text: str) -> None:
        field.click()
        field.fill(text)
        self.typed += len(text)

    @property
    def taps(self) -> int:
        return int(self.page.evaluate("sessionStorage.getItem('taps')")) + self.lists


def test_a_run_asks_less_of_the_hand_than_the_sheet_has_boxes(browser_page, sign_in, world: World) -> None:
    page = browser_page
    effort = Effort(page)
    sign_in(world.person("technician1"))
    run.start(page, world)
    page.clock.install()
    page.clock.resume()
    run.to(page, "Step 12 of 20")
    effort.choose_instrument()
    effort.fill(run.temperature(page), "20")
    run.to(page, "Step 14 of 20")
    effort.choose_instrument()
    run.clock_to(page, 60)
    effort.fill(page.locator("[data-value]:visible"), "96")
    run.enter(page)
    for moment in (120, 180):
        run.clock_to(page, moment)
        run.enter(page)
    page.locator("[data-say]:visible").get_by_text("Settled").wait_for()
    run.to(page, "Step 15 of 20")
    effort.choose_instrument()
    page.locator("[data-begin]").click()
    page.clock.fast_forward(60_000)
    page.get_by_text("Time is up: take the vessel away, then tap.").wait_for()
    page.locator("[data-end]").click()
    effort.fill(page.get_by_label("Volume collected"), "170")
    run.to(page, "Step 16 of 20")
    effort.choose_instrument()
    effort.fill(run.temperature(page), "20")
    run.to(page, "Step 17 of 20")
    run.saw_all(page)
    run.to(page, "Step 20 of 20")
    run.saw_all(page)
    run.to(page, "Put back")
    for box in page.locator("[data-card='Put back'] input").all():
        box.check()
    run.to(page, "Remarks and outcome")
    run.wait_sent(page)
    page.get_by_role("button", name="Go to signing").click()
    page.wait_for_url("**/sign/")
    before_signing = effort.taps
    effort.fill(page.get_by_label("Your password"), PASSWORD)
    page.get_by_role("button", name="Sign as performed").click()
    page.wait_for_selector("text=signed")
    event = CheckEvent.objects.get()
    assert (event.state, event.outcome) == ("signed", "within limit")

    sheet = worksheet(revisions().get(pk=event.revision_id), event.aircraft, link="http://localhost/")
    typed = effort.typed - len(PASSWORD)
    print(
        f"\nOne run: {before_signing} taps, {typed} typed characters; to sign it "
        f"{effort.taps - before_signing} taps and the password. "
        f"The worksheet has {sheet.boxes} boxes, signatures included."
    )
    assert typed < sheet.boxes
    assert effort.taps < sheet.boxes
    assert effort.taps + typed < sheet.boxes
