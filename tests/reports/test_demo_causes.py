"""The likely cause on the loaded demo: what the records say beside the truth that made them."""

import pytest

from checks.engine.diagnosis_data import NO_FIT, RANKED
from checks.models import CauseFound, CheckEvent
from checks.selectors.cause import report_card
from checks.services.cause import likely_cause
from reports.demo.plan import Truth

pytestmark = [pytest.mark.django_db, pytest.mark.xdist_group("demo")]


def newest(registration: str) -> CheckEvent:
    """The newest pressure and flow check of the aircraft."""
    events = CheckEvent.objects.signed().filter(aircraft__registration=registration)
    return events.filter(revision__procedure__code="pressure-flow").latest("work_date", "signed_at")


@pytest.mark.parametrize("case", ["deferred over limit", "open over limit", "closing"])
def test_fouling_of_all_panels_is_ranked_first(truth: Truth, case: str) -> None:
    found = likely_cause(newest(truth.cases[case]))
    assert found.said.causes[0].cause == "all_fouled"
    assert found.said.causes[0].panel == ""  # the forward installation has no panel ports
    assert (found.diagnosis.pressure, found.diagnosis.flow) == ("high", "high")


def test_the_step_blockage_names_its_panel(truth: Truth) -> None:
    """Within its limit, and yet out of the aircraft's own scatter: at some check after the step."""
    events = CheckEvent.objects.signed().filter(
        aircraft__registration=truth.cases["step blockage"], revision__procedure__code="pressure-flow"
    )
    told = [found for event in events.order_by("-work_date")[:3] if (found := likely_cause(event))]
    assert told
    assert {(one.said.causes[0].cause, one.said.causes[0].panel) for one in told} == {
        ("panel_blocked", "right wing inboard")
    }


def test_quiet_aircraft_are_rarely_called_out_of_scatter(truth: Truth) -> None:
    """Where nothing drifted the gate lets through about one check in ten at most."""
    quiet = {
        registration
        for registration, _ in truth.series
        if all(
            s.drifted < 0.02 and len(s.lives) < 2 for (r, _), s in truth.series.items() if r == registration
        )
    }
    events = CheckEvent.objects.signed().filter(
        aircraft__registration__in=quiet, revision__procedure__code="pressure-flow"
    )
    called = sum(likely_cause(event) is not None for event in events)
    assert len(events) > 50 and called / len(events) < 0.1


def test_confirmed_causes_are_as_the_truth_and_mostly_ranked_first(truth: Truth) -> None:
    card = report_card()
    assert CauseFound.objects.count() == len(card.rows) >= 8
    assert {row.found.ranking["verdict"] for row in card.rows} >= {RANKED}
    assert card.first / card.ranked > 0.6
    for row in card.rows:
        assert (row.found.position is None) == (row.found.cause == "all_fouled")
        assert row.found.ranking["verdict"] != NO_FIT or row.ranked_first == ""
