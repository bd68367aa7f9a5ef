"""Photos on a phone: of the step on the screen, kept without a network, sent once; a run handed over."""

import datetime as dt

import pytest

from checks.models import CheckEvent, Photo
from checks.selectors.handover import holder_of
from tests.browser import runner as run
from tests.checks import evidence_files as files
from tests.world import World, build_world

pytestmark = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def add(page, content: bytes, remark: str) -> None:
    details = page.locator("#photos")
    if details.get_attribute("open") is None:
        details.locator("summary").click()
    page.locator("#photo-file").set_input_files(
        {"name": "IMG.jpg", "mimeType": "image/jpeg", "buffer": content}
    )
    page.locator("#photo-remark").fill(remark)
    page.get_by_role("button", name="Keep with this check").click()


def test_photos_wait_on_the_phone_and_are_sent_once(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    run.to(page, "Step 14 of 20")
    add(page, files.jpeg(), "gauge")
    says = page.locator("[data-photo-says]")
    says.get_by_text("1 photo was sent and kept with this check.").wait_for()
    photo = Photo.objects.get()
    assert (photo.step.number, photo.remark) == (14, "gauge")
    page.context.set_offline(True)
    add(page, files.jpeg(colour="navy"), "nozzle")
    says.get_by_text("1 photo is kept on this phone, not sent.").wait_for()
    assert Photo.objects.count() == 1
    run.fits(page)
    page.context.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    says.get_by_text("1 photo was sent").wait_for()
    assert page.locator("[data-photo-count]").inner_text() == "2"
    assert sorted(Photo.objects.values_list("remark", flat=True)) == ["gauge", "nozzle"]
    add(page, b"not a picture at all", "wrong")
    says.get_by_text("Only JPEG, PNG and WebP pictures are kept").wait_for()
    says.get_by_role("button", name="Drop it from this phone").click()
    says.wait_for(state="hidden")
    assert Photo.objects.count() == 2


def test_a_file_too_large_for_the_site_does_not_wait_for_ever(
    browser_page, sign_in, world: World, settings
) -> None:
    settings.MAX_BODY_BYTES = 200_000
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    run.to(page, "Step 14 of 20")
    posted = []
    page.on("request", lambda asked: asked.url.endswith("/photos/") and posted.append(asked.method))
    add(page, b"x" * 300_000, "too large")
    says = page.locator("[data-photo-says]")
    says.get_by_text("Not kept. It has 0.3 MB; at most 0.1 MB are taken.").wait_for()
    assert page.locator("#photo-remark").input_value() == "too large" and posted == []
    run.fits(page)

    # The site's limit is lower than the page knows: the server's refusal is heard, and it does not wait.
    page.locator("#photo-file").evaluate("one => { one.dataset.most = '9999999' }")
    page.get_by_role("button", name="Keep with this check").click()
    says.get_by_text("The file is too large for this site.").wait_for()
    assert posted == ["POST"]
    says.get_by_role("button", name="Drop it from this phone").click()
    says.wait_for(state="hidden")
    assert not Photo.objects.exists()


def test_a_run_goes_on_with_another_technician(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    address = run.start(page, world)
    page.goto(f"{address}handover/")
    run.fits(page)
    page.get_by_label("Hand over to").select_option(label="Technician 2")
    page.get_by_role("button", name="Hand over").click()
    page.get_by_text("Offered to Technician 2").first.wait_for()
    sign_in(world.person("technician2"))
    page.goto("/")
    page.locator("#home-offered ~ ul a").click()
    run.ready(page)
    page.get_by_text("Technician 1 hands this check over to you").wait_for()
    run.fits(page)
    page.get_by_role("button", name="Accept, with").click()
    page.get_by_text("You hold this check now").wait_for()
    assert holder_of(CheckEvent.objects.get()) == world.person("technician2")
