"""Procedures and their revisions on pages: the list, one revision, its approval."""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from checks.models import LimitRow, LimitTable, Procedure, Revision, Step
from checks.selectors.revisions import before, changes, taken_by, with_states
from checks.services.procedures import approve_revision
from tests.checks.check_pages import logged_in
from tests.checks.work import performed
from tests.world import PASSWORD, World


@pytest.fixture
def browse(world: World) -> Client:
    return logged_in(world, "auditor1")


def copied(world: World, number: str = "next", *, typed_by: str = "controller1", days: int = 10) -> Revision:
    """A revision typed anew from the one in force, effective in so many days."""
    old = world.revision(world.forward)
    new = Revision.objects.create(
        procedure=old.procedure,
        number=number,
        source_reference="Invented example, no approved data",
        typed_by=world.person(typed_by),
        effective_on=world.today + dt.timedelta(days=days),
    )
    for step in old.steps.all():
        step.pk, step.revision = None, new
        step.save(force_insert=True)
    for table in old.limit_tables.all():
        rows = list(table.rows.all())
        table.pk, table.revision = None, new
        table.save(force_insert=True)
        for row in rows:
            row.pk, row.table = None, table
            row.save(force_insert=True)
    return new


def now_is(world: World, days: int = 0) -> dict[str, str]:
    """State of each revision of the task, by number, so many days from now."""
    own = Revision.objects.filter(procedure=world.revision(world.forward).procedure)
    return {r.number: r.now_is for r in with_states(own, world.today + dt.timedelta(days=days))}


# --- states ---------------------------------------------------------------------------------------


def test_a_revision_waits_is_planned_takes_effect_and_supersedes(world: World) -> None:
    old, new = world.revision(world.forward), copied(world)
    assert (now_is(world)[old.number], now_is(world)["next"]) == ("effective", "awaiting approval")
    assert now_is(world, 10)[old.number] == "effective", "nobody approved the next one"
    approve_revision(revision=new, by=world.person("director1"), password=PASSWORD)
    assert (now_is(world, 9)[old.number], now_is(world, 9)["next"]) == ("effective", "planned")
    assert (now_is(world, 10)[old.number], now_is(world, 10)["next"]) == ("superseded", "effective")
    assert taken_by(old) == new and before(new) == old and taken_by(new) is None


@pytest.mark.parametrize("days", [-2000, -100, 0, 9, 10, 400])
def test_the_effective_one_is_that_which_checks_follow(world: World, days: int) -> None:
    approve_revision(revision=copied(world), by=world.person("director1"), password=PASSWORD)
    day = world.today + dt.timedelta(days=days)
    told = with_states(Revision.objects.all(), day).filter(now_is="effective")
    assert set(told) == set(Revision.objects.in_force(day))


# --- the list -------------------------------------------------------------------------------------


def listed(client: Client, **query: object) -> list[Procedure]:
    return list(client.get("/procedures/", query).context["page_obj"])


def test_the_list_shows_every_procedure_with_its_revisions(world: World, browse: Client) -> None:
    new = copied(world)
    assert len(listed(browse)) == Procedure.objects.count()
    (shown,) = [one for one in listed(browse) if one == new.procedure]
    assert shown.newest_first[0].number == "next"
    page = browse.get("/procedures/").content.decode()
    assert f'href="/procedures/revisions/{new.pk}/"' in page and "awaiting approval" in page


def test_filters_by_title_variant_and_state(world: World, browse: Client) -> None:
    copied(world)
    assert {one.variant.code for one in listed(browse, variant=world.forward.variant_id)} == {"forward"}
    assert {one.code for one in listed(browse, words="wet-out")} == {"wet-out"}
    waiting = listed(browse, state="awaiting approval")
    assert [one.code for one in waiting] == ["pressure-flow"] and len(waiting) == 1
    assert b"No procedure fits this filter." in browse.get("/procedures/?words=zzz").content
    assert "page_obj" not in browse.get("/procedures/?state=zzz").context


# --- one revision ---------------------------------------------------------------------------------


def test_a_revision_shows_steps_limits_and_who_answers_for_it(world: World, browse: Client) -> None:
    performed(world, world.forward)
    revision = world.revision(world.forward)
    response = browse.get(f"/procedures/revisions/{revision.pk}/")
    page = response.content.decode()
    assert response.context["used"] == 1 and "1 record<" in page
    for step in revision.steps.all():
        assert f'<li value="{step.number}">' in page
    assert "Warning" in page and "Put back:" in page and "Director 1" in page and "Controller 1" in page
    for row in LimitRow.objects.filter(table__revision=revision, table__point__code="port"):
        assert f">{row.temperature:g}<" in page or f"{row.temperature.normalize():f}" in page
        assert f'<td class="num">{row.upper.normalize():f}</td>' in page
    assert page.count("c-limit") >= 2, "a curve for each table"
    assert "Outside the table there is no limit" in page


def test_limits_are_shown_in_the_unit_they_were_typed_in(world: World, browse: Client) -> None:
    new = copied(world)
    table = new.limit_tables.get(point__code="port")
    table.unit, table.kind = "[psi]", "both"
    table.save()
    table.rows.update(lower=Decimal("0.5"))
    page = browse.get(f"/procedures/revisions/{new.pk}/").content.decode()
    assert "Upper, psi" in page and "Lower, psi" in page and '<td class="num">0.5</td>' in page


def test_a_table_with_a_gap_has_no_curve_but_words(world: World, browse: Client) -> None:
    new = copied(world)
    new.limit_tables.update(kind="both")
    page = browse.get(f"/procedures/revisions/{new.pk}/").content.decode()
    assert "No curve: a row lacks a limit" in page and '<td class="num">–</td>' in page


def test_one_without_steps_says_so(world: World, browse: Client) -> None:
    new = copied(world)
    Step.objects.filter(revision=new).delete()
    LimitTable.objects.filter(revision=new).delete()
    page = browse.get(f"/procedures/revisions/{new.pk}/").content.decode()
    assert "No step is typed yet." in page and "0 records" in page


# --- what it changes ------------------------------------------------------------------------------


def test_a_copy_changes_nothing(world: World) -> None:
    assert changes(world.revision(world.forward), copied(world)) == []


def test_a_changed_limit_a_new_step_and_one_taken_away_are_named(world: World) -> None:
    old, new = world.revision(world.forward), copied(world)
    row = LimitRow.objects.get(table__revision=new, table__point__code="port", temperature=20)
    was, row.upper = row.upper, Decimal("99.5")
    row.save()
    gone = new.steps.filter(kind="caution").last()
    words = str(gone)
    gone.delete()
    Step.objects.create(revision=new, number=90, kind="note", text="Look twice.")
    told = changes(old, new)
    assert told[0].startswith(f"system test port at 20 °C: upper {was.normalize():f} kPa")
    assert "becomes upper 99.5 kPa" in told[0]
    assert told[1:] == ["new or changed: step 90. Look twice.", f"no longer there: step {words}"]


# --- approving ------------------------------------------------------------------------------------


def test_a_director_sees_what_changes_and_approves(world: World) -> None:
    new = copied(world)
    port = LimitRow.objects.filter(table__revision=new, table__point__code="port", temperature=20)
    port.update(upper="141")
    client, address = logged_in(world, "director1"), f"/procedures/revisions/{new.pk}/approve/"
    page = client.get(address).content.decode()
    assert "becomes upper 141 kPa" in page and "Approving freezes it." in page
    response = client.post(address, {"password": PASSWORD}, follow=True)
    new.refresh_from_db()
    assert new.approved_by == world.person("director1")
    assert "Approved: in force from 22 Mar 2025." in response.content.decode()
    assert client.get(address).url == f"/procedures/revisions/{new.pk}/"


def test_a_wrong_password_approves_nothing(world: World) -> None:
    new = copied(world)
    response = logged_in(world, "director1").post(
        f"/procedures/revisions/{new.pk}/approve/", {"password": "guess"}
    )
    assert response.status_code == 422 and "password" in response.context["form"].errors
    new.refresh_from_db()
    assert new.approved_at is None and b"guess" not in response.content


def test_never_the_one_who_typed_it(world: World) -> None:
    new = copied(world, typed_by="director1")
    client = logged_in(world, "director1")
    assert (
        f"revisions/{new.pk}/approve" not in client.get(f"/procedures/revisions/{new.pk}/").content.decode()
    )
    address = f"/procedures/revisions/{new.pk}/approve/"
    page = client.get(address).content.decode()
    assert "Another director of maintenance approves it." in page and 'name="password"' not in page
    assert client.post(address, {"password": PASSWORD}).status_code == 422
    new.refresh_from_db()
    assert new.approved_at is None


def test_what_keeps_it_from_being_followed_is_listed(world: World) -> None:
    new = copied(world)
    new.limit_tables.all().delete()
    client, address = logged_in(world, "director1"), f"/procedures/revisions/{new.pk}/approve/"
    page = client.get(address).content.decode()
    assert "propeller nozzle has no limit table. Type it." in page and 'name="password"' not in page
    assert client.post(address, {"password": PASSWORD}).status_code == 422
    new.refresh_from_db()
    assert new.approved_at is None


# --- who, and what it costs -----------------------------------------------------------------------


def test_strangers_are_refused(world: World, outsider, client_of) -> None:
    for path in ("/procedures/", f"/procedures/revisions/{world.revision(world.forward).pk}/"):
        assert Client().get(path).status_code == 302
        assert client_of(outsider).get(path).status_code == 403
    assert logged_in(world, "auditor1").get("/procedures/revisions/9999/").status_code == 404


def test_queries_do_not_grow(world: World) -> None:
    client = logged_in(world, "director1")
    new = copied(world)

    def costs() -> list[int]:
        found = []
        for path in (
            "/procedures/",
            f"/procedures/revisions/{new.pk}/",
            f"/procedures/revisions/{new.pk}/approve/",
        ):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(path).status_code == 200
            found.append(len(queries))
        return found

    def more(start: int, number: int) -> None:
        point = world.point(world.forward, "port")
        table = new.limit_tables.get(point=point)
        for k in range(start, start + number):
            copied(world, f"r{k}", days=100 + k)
            Step.objects.create(revision=new, number=100 + k, kind="note", text=f"Note {k}.", point=point)
            LimitRow.objects.create(table=table, temperature=Decimal(f"{k}.25"), upper=100)

    more(0, 2)
    before_ = costs()
    more(2, 20)
    assert costs() == before_
