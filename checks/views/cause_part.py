"""The likely cause on a check's own page: what checks/_cause.html needs."""

from typing import Any

from django.http import HttpRequest

from checks.engine.diagnosis_data import NOT_LOOKED
from checks.forms.cause import CauseForm, WetForm
from checks.models import CheckEvent
from checks.selectors.cause import may_record_cause
from checks.services.cause import ANSWERS, LikelyCause, likely_cause
from checks.services.evaluate import Evaluation


def cause_part(
    request: HttpRequest,
    event: CheckEvent,
    evaluation: Evaluation | None = None,
    form: CauseForm | None = None,
) -> dict[str, Any]:
    """Context of checks/_cause.html: `cause` (None where there is nothing to explain), its forms and what
    was found. Up to fifteen queries for a signed check, twelve for a draft."""
    asked = request.GET.get("wet", NOT_LOOKED)
    wet = asked if asked in ANSWERS else NOT_LOOKED
    cause = likely_cause(event, evaluation=evaluation, wet=wet)
    if cause is None:
        return {"cause": None}
    part: dict[str, Any] = {"cause": cause, "ratios": ratios(cause)}
    if event.is_draft:
        return part
    part["wet_form"] = WetForm({"wet": wet})
    part["found"] = list(event.causes_found.select_related("position", "found_by"))
    if may_record_cause(request.user) and not CheckEvent.objects.signed().filter(supersedes=event).exists():
        part["cause_form"] = form or CauseForm(event, wet=wet)
    return part


def ratios(cause: LikelyCause) -> list[dict[str, str]]:
    """The readings as ratios to the baseline, for partials/_facts.html. No query."""
    if cause.diagnosis is None:
        return []
    sides = {"pressure": cause.diagnosis.pressure, "nozzle flow": cause.diagnosis.flow}
    return [
        {"name": name.capitalize(), "value": f"× {ratio:.2f}", "note": sides.get(name, "")}
        for name, ratio in cause.beside
    ]
