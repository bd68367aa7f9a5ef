"""Procedures with their revisions, one revision as it is followed, and its approval."""

from django.contrib import messages
from django.db.models import Prefetch, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from checks.charts.builders import limit_scene
from checks.charts.svg import Picture, picture
from checks.engine.units import plain, unit_of
from checks.forms.check_sign import PasswordForm
from checks.forms.revisions import ProcedureFilter
from checks.models import LimitRow, LimitTable, Procedure, Revision, Step
from checks.selectors.revisions import AWAITING, before, changes, taken_by, with_states
from checks.services.errors import RecordError
from checks.services.procedures import approve_revision, faults
from checks.views.access import needs
from checks.views.defects import show_refusal
from checks.views.paging import page_of
from checks.views.parts import in_order, is_part
from fleet.models import Aircraft

PER_PAGE = 50
SORTS = {"title": "title", "variant": "variant__name", "kind": "kind"}
CAUTIONS = (Step.Kind.WARNING, Step.Kind.CAUTION, Step.Kind.NOTE)


@require_safe
@needs("checks.view_records")
def procedures(request: HttpRequest) -> HttpResponse:
    """Every procedure with its revisions, the newest first; htmx gets the list alone."""
    revisions = with_states(Revision.objects.all(), timezone.localdate())
    found = ProcedureFilter(request.GET, queryset=Procedure.objects.all(), revisions=revisions)
    context = {"filter": found, "understood": found.is_valid()}
    if context["understood"]:
        context["page_obj"] = page_of(request, listed(found), PER_PAGE)
    template = "checks/revisions_part.html" if is_part(request) else "checks/revisions.html"
    return render(request, template, context)


def listed(found: ProcedureFilter) -> QuerySet[Procedure]:
    """What the filter leaves, with `newest_first`, in the order asked for: by title unless another is."""
    newest_first = found.revisions.select_related("typed_by", "approved_by").order_by("-effective_on", "-pk")
    related = found.qs.select_related("variant")
    related = related.prefetch_related(Prefetch("revisions", newest_first, to_attr="newest_first"))
    return related.order_by(*in_order(found.data.get("sort", ""), SORTS, "title", "variant__name", "pk"))


def revision_of(pk: int) -> Revision:
    """The revision with its state today and what every page of it names. 404 where there is none."""
    found = with_states(Revision.objects.all(), timezone.localdate())
    return get_object_or_404(found.select_related("procedure__variant", "typed_by", "approved_by"), pk=pk)


@require_safe
@needs("checks.view_records")
def revision(request: HttpRequest, pk: int) -> HttpResponse:
    """One revision as it is followed: cautions, steps, limits. A fixed number of queries."""
    one = revision_of(pk)
    flying = Aircraft.objects.exclude(state=Aircraft.State.LEFT).filter(variant=one.procedure.variant_id)
    context = contents(one) | {"used": one.events.count(), "fleet": flying}
    return render(request, "checks/revision.html", context)


def contents(one: Revision) -> dict:
    """What a page shows of a revision. Five queries."""
    steps = list(one.steps.select_related("point").order_by("number"))
    tables = one.limit_tables.select_related("point").prefetch_related("rows").order_by("point__order")
    return {
        "revision": one,
        "awaiting": one.now_is == AWAITING,
        "taken_by": taken_by(one),
        "steps": [
            {"step": step, "figures": figures(step), "cautions": step.kind in CAUTIONS} for step in steps
        ],
        "tables": [
            {
                "table": table,
                "unit": unit_of(table.unit).label,
                "rows": list(map(typed, ordered(table))),
                "chart": curve(table),
            }
            for table in tables
        ],
    }


def figures(step: Step) -> list[str]:
    """The figures of a measuring step, in words."""
    unit = unit_of(step.unit).label if step.unit else ""
    said = [
        (step.point, f"at the {step.point}"),
        (step.quantity, f"{step.quantity} in {unit}"),
        (step.instrument_kind, f"with a {step.instrument_kind}"),
        (step.position_kind, f"every {step.position_kind}"),
        (step.cadence_seconds, f"every {step.cadence_seconds} s"),
        (step.duration_seconds, f"for {step.duration_seconds} s"),
        (
            step.ceiling is not None,
            f"not above {step.ceiling} {unit} from {step.ceiling_after_seconds or 0} s on",
        ),
    ]
    return [words for given, words in said if given]


def ordered(table: LimitTable) -> list[LimitRow]:
    return sorted(table.rows.all(), key=lambda row: row.temperature)


def typed(row: LimitRow) -> tuple[str, str, str]:
    """Temperature, lower and upper limit without the zeros that the database adds; a dash for none."""
    values = (row.temperature, row.lower, row.upper)
    return tuple("–" if value is None else plain(value) for value in values)


def curve(table: LimitTable) -> Picture | None:
    """The limits over fluid temperature; None where a row lacks one that the kind of table asks for."""
    rows = [(row.temperature, row.lower, row.upper) for row in ordered(table)]
    wanted = {"upper": (2,), "lower": (1,)}.get(table.kind, (1, 2))
    if not rows or any(row[place] is None for row in rows for place in wanted):
        return None
    scene = limit_scene(
        rows,
        table.kind,
        None,
        label=table.point.get_quantity_display().capitalize(),
        unit=unit_of(table.unit).label,
        rule=table.reading_rule,
    )
    return picture(scene, f"Limits of the {table.point} by fluid temperature, as typed")


@require_http_methods(["GET", "HEAD", "POST"])
@needs("checks.approve_revision")
def revision_approve(request: HttpRequest, pk: int) -> HttpResponse:
    """Approve a revision that another person typed."""
    one = revision_of(pk)
    if one.approved_at:
        messages.info(request, "It is approved already.")
        return redirect("checks:revision", pk=one.pk)
    form = PasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            approve_revision(revision=one, by=request.user, **form.cleaned_data)
        except RecordError as refused:
            show_refusal(form, refused)
        else:
            messages.success(request, f"Approved: in force from {one.effective_on:%d %b %Y}.")
            return redirect("checks:revision", pk=one.pk)
    old = before(one)
    context = contents(one) | {
        "form": form,
        "faults": faults(one),
        "own": one.typed_by_id == request.user.pk,
        "old": old,
        "changes": changes(old, one) if old else [],
    }
    return render(
        request, "checks/revision_approve.html", context, status=422 if request.method == "POST" else 200
    )
