"""A run without a network, and what can happen to a phone: nothing unsent is dropped or shown to another."""

import datetime as dt
import json

import pytest

from checks.models import CheckEvent, DraftCopy
from checks.services.sign import sign_performed
from tests.browser import runner as run
from tests.checks.work import filled
from tests.world import PASSWORD, World, build_world

pytestmark = pytest.mark.parametrize("browser_page", [390], ids=["390px"], indirect=True)


@pytest.fixture
def world(transactional_db: None) -> World:
    return build_world(today=dt.date.today())


def readings() -> list[str]:
    found = CheckEvent.objects.get().readings.filter(role="series").order_by("sequence")
    return list(found.values_list("typed", flat=True))


def kept_by_the_worker(page) -> None:
    """The page of this run can be opened without a network."""
    kept = "async () => Boolean(await caches.match(location.pathname))"
    run.until(lambda: page.evaluate(kept) and page.evaluate("Boolean(navigator.serviceWorker.controller)"))


def in_the_series(page, world: World) -> str:
    """A run with its clock started and a first value sent; its address."""
    address = run.start(page, world)
    page.clock.install()
    page.clock.resume()
    run.to(page, "Step 12 of 20")
    run.choose_instrument(page)
    run.temperature(page).fill("20")
    run.to(page, "Step 14 of 20")
    run.choose_instrument(page)
    run.clock_to(page, 60)
    run.enter(page, "96")
    run.wait_sent(page)
    return address


def test_what_was_typed_right_before_a_reload_is_kept(browser_page, sign_in, world: World) -> None:
    """Without a network, and with not a moment between the last letter and the reload."""
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    kept_by_the_worker(page)
    page.context.set_offline(True)
    for words in ("hose chafed at the clip", "hose chafed at the clip, left"):
        with page.expect_navigation():
            page.evaluate(
                """words => {
                  const remarks = document.getElementById("remarks");
                  for (let n = 1; n <= words.length; n++) {
                    remarks.value = words.slice(0, n);
                    remarks.dispatchEvent(new InputEvent("input", { bubbles: true }));
                  }
                  location.reload();
                }""",
                words,
            )
        run.ready(page)
        assert page.locator("#remarks").input_value() == words
    page.context.set_offline(False)
    run.wait_sent(page)
    assert CheckEvent.objects.get().remarks == words


def test_a_network_cut_in_the_series_and_back_again(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    in_the_series(page, world)
    kept_by_the_worker(page)
    page.context.set_offline(True)
    run.clock_to(page, 120)
    run.enter(page)
    page.locator("[data-is=kept]").wait_for()
    page.reload()  # from what the worker keeps
    run.ready(page)
    assert run.place(page) == "Step 14 of 20"
    assert page.locator("[data-marks] li").count() == 2
    run.fits(page)
    run.clock_to(page, 180)
    run.enter(page)
    assert "Settled at 3:0" in page.locator("[data-say]:visible").inner_text()
    assert readings() == ["96"]

    # To the end without a network: it says what is open, then that signing needs the server.
    run.to(page, "Remarks and outcome")
    page.get_by_role("button", name="Go to signing").click()
    run.wait_for_words(page, "No network. All is kept on this phone. Still open:")
    assert "Put back" in run.words(page)
    run.fits(page)
    all_answered(page)
    page.get_by_role("button", name="Go to signing").click()
    run.wait_for_words(page, "Ready to sign. Signing needs the server")

    page.context.set_offline(False)
    run.wait_sent(page)
    assert readings() == ["96", "96", "96"]
    assert DraftCopy.objects.filter(state="kept").count() == DraftCopy.objects.count() == 1
    page.get_by_role("button", name="Go to signing").click()
    page.wait_for_url("**/sign/")


def test_a_page_that_is_not_kept_leads_back_to_the_run(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    address = run.start(page, world)
    kept_by_the_worker(page)
    page.context.set_offline(True)
    page.goto("/due/")
    assert page.get_by_role("heading", name="No network").is_visible()
    run.fits(page)
    page.get_by_role("link", name="Pressure and flow check").click()
    run.ready(page)
    assert page.url == address


def all_answered(page) -> None:
    """Everything else, in one go on the whole form."""
    page.get_by_role("button", name="Whole form").click()
    for box in page.locator("[name^=caution-]").all():
        box.check()
    for look in page.locator(".look").all():
        look.get_by_role("radio", name="Yes").check()
    for select in page.locator("select[data-sets]").all():
        select.select_option(index=1)
    temperatures_answered(page)
    page.get_by_label("Collection began").fill("3:10")
    page.get_by_label("Volume collected").fill("170")
    page.get_by_label("Volume collected").blur()


def temperatures_answered(page) -> None:
    """Before the series and after the collection, on the whole form."""
    for one in run.temperature(page).all():
        one.fill("20")


def test_a_run_opened_once_is_not_opened_for_another(browser_page, sign_in, world: World) -> None:
    """The worker forgets a person's pages at the log-out; what is not sent stays with its person."""
    page = browser_page
    sign_in(world.person("technician1"))
    address = run.start(page, world)
    kept_by_the_worker(page)
    page.context.set_offline(True)
    page.get_by_role("button", name="Whole form").click()
    page.get_by_label("Remarks").fill("Only I know this")
    page.locator("[data-is=kept]").wait_for()
    block_sending(page)
    page.context.set_offline(False)
    page.get_by_text("Menu").click()
    page.get_by_role("button", name="Sign out").last.click()
    page.wait_for_url("**/login/")
    page.context.set_offline(True)
    page.goto(address)
    assert page.get_by_role("heading", name="No network").is_visible()
    assert "Only I know this" not in page.content()

    page.context.set_offline(False)
    page.goto("/login/")
    run.log_in(page, "technician2")
    page.wait_for_url("**/")
    page.goto(address)
    run.ready(page)
    run.wait_for_words(page, "Work of another person on this phone is not sent yet.")
    assert page.get_by_label("Remarks").input_value() == ""
    assert "Only I know this" not in page.content()
    assert CheckEvent.objects.get().remarks == ""

    page.unroute("**/run/")
    sign_in(world.person("technician1"))
    page.goto(address)
    run.ready(page)
    run.wait_sent(page)
    assert CheckEvent.objects.get().remarks == "Only I know this"


def block_sending(page) -> None:
    page.route("**/run/", lambda route: route.abort())


def test_a_draft_thrown_away_leaves_nothing_on_the_phone(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    run.to(page, "Step 4 of 20")
    page.get_by_role("button", name="Whole form").click()
    page.context.set_offline(True)
    page.get_by_text("Throw this draft away").click()
    page.get_by_label("Remarks").fill("Not meant")
    page.get_by_role("button", name="Throw away").click()
    run.wait_for_words(page, "No network: the draft can’t be thrown away now.")
    page.context.set_offline(False)
    run.wait_sent(page)
    page.get_by_role("button", name="Throw away").click()
    page.wait_for_url("**/checks/new/")
    assert not CheckEvent.objects.exists()
    run.start(page, world)
    assert "Not sent yet from this phone" not in run.words(page)


def test_storage_full_is_said_and_the_work_is_sent(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    page.add_init_script(
        "IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); }"
    )
    run.start(page, world)
    run.to(page, "Step 4 of 20")
    run.wait_for_words(page, "This phone can't keep the work")
    run.wait_sent(page)
    assert CheckEvent.objects.get().cautions_followed.count() == 2
    page.context.set_offline(True)
    run.onward(page)
    page.locator("[data-is=lost]").wait_for()
    assert run.state(page) == "Not kept on this phone"
    page.context.set_offline(False)


def test_a_lost_answer_is_asked_again_and_makes_nothing_twice(browser_page, sign_in, world: World) -> None:
    """The server has it, the phone never hears so: sent again, it is the same."""
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    lost: list[str] = []

    def lose_the_answer(route) -> None:
        if lost:
            return route.continue_()
        lost.append(route.request.post_data)
        route.fetch()
        return route.abort()

    page.route("**/run/", lose_the_answer)
    run.to(page, "Step 3 of 20")
    page.locator("[data-is=kept]").wait_for()
    page.clock.install()
    page.clock.fast_forward(5_000)
    run.wait_sent(page)
    assert lost and run.words(page) == ""
    assert DraftCopy.objects.get().content["text"] == json.loads(lost[0])["text"]
    assert CheckEvent.objects.get().cautions_followed.count() == 1


def test_two_phones_on_one_run(browser_page, sign_in, world: World, browser, live_server) -> None:
    """The second one is told, keeps its own, and its person chooses."""
    page = browser_page
    sign_in(world.person("technician1"))
    address = run.start(page, world)
    run.to(page, "Step 4 of 20")
    run.wait_sent(page)

    phone = browser.new_context(base_url=live_server.url, viewport={"width": 390, "height": 844})
    second = phone.new_page()
    second.goto("/login/")
    run.log_in(second, "technician2")
    second.goto(address)
    run.ready(second)
    run.wait_for_words(second, f"{world.person('technician1')} also sent something of this check")
    run.to(page, "Step 6 of 20")
    run.wait_sent(page)
    run.until(lambda: CheckEvent.objects.get().cautions_followed.count() == 4)
    second.get_by_role("button", name="Whole form").click()
    second.get_by_label("Remarks").fill("From the second phone")
    run.wait_for_words(second, "This check was changed elsewhere since this phone last sent. Both are kept")
    assert str(world.person("technician1")) in run.words(second)
    assert "From the second phone" in run.words(second)
    run.fits(second)
    assert CheckEvent.objects.get().remarks == ""

    second.get_by_role("button", name="Go on with this phone’s").click()
    run.wait_sent(second)
    event = CheckEvent.objects.get()
    assert event.remarks == "From the second phone" and event.cautions_followed.count() == 2
    states = sorted(DraftCopy.objects.values_list("state", flat=True))
    assert states == ["conflict", "kept", "kept", "replaced"]
    phone.close()

    # The first phone goes on from what it knew: now it is the one that is asked, and takes the draft's.
    run.onward(page)
    run.wait_for_words(page, "Both are kept")
    page.get_by_role("link", name="See both").click()
    assert page.get_by_role("heading", name="Copies from phones").is_visible()
    run.fits(page)
    page.go_back()
    run.ready(page)
    run.wait_for_words(page, "Both are kept")
    page.get_by_role("button", name="Go on with the draft").click()
    run.ready(page)
    run.until(lambda: page.get_by_label("Remarks").input_value() == "From the second phone")


def test_signed_elsewhere_meanwhile(browser_page, sign_in, world: World) -> None:
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    run.wait_sent(page)
    event = CheckEvent.objects.get()
    filled(event, world, "technician1")
    sign_performed(event=event, by=world.person("technician1"), password=PASSWORD)
    run.to(page, "Step 3 of 20")
    run.wait_for_words(page, "This check was signed meanwhile")
    page.get_by_role("link", name="See what is kept").click()
    assert page.get_by_text("The check was signed meanwhile.").is_visible()


def test_the_server_decides_and_a_difference_is_shown(browser_page, sign_in, world: World) -> None:
    """A pump far under its usual pressure passes every upper limit; only the server knows what is usual."""
    page = browser_page
    sign_in(world.person("technician1"))
    run.start(page, world)
    page.get_by_role("button", name="Whole form").click()
    for select in page.locator("select[data-sets]").all():
        select.select_option(index=1)
    temperatures_answered(page)
    for minute in range(1, 5):
        page.locator(".series-row").nth(minute).locator("input[inputmode=decimal]").fill("8")
    page.get_by_label("Remarks").click()
    run.wait_for_words(
        page, "The server decides. step 14: this phone reckons within limit, the server not valid."
    )
    page.get_by_role("button", name="One step at a time").click()
    run.fits(page)
