"""Every list of the pages as a file: what a page shows for the same filter and order, all pages of it."""

from collections.abc import Iterable, Iterator, Sequence

from django.http import QueryDict
from django.utils import timezone

from checks.forms.aircraft import AircraftFilter, IcingFilter
from checks.forms.check_filter import RecordFilter, with_states
from checks.forms.programme import ProgrammeFilter
from checks.forms.revisions import ProcedureFilter
from checks.forms.utilisation import UtilisationFilter
from checks.models import CheckEvent, Procedure, RecurringCheck, Revision
from checks.selectors.defects import DefectShown, shown
from checks.selectors.programme import with_states as with_task_states
from checks.selectors.programme_words import first_in_words
from checks.selectors.revisions import with_states as with_revision_states
from checks.views import check_records, defects, instruments, programme, revisions, utilisation
from checks.views.aircraft import list_lines
from fleet.models import Aircraft
from reports.duelist import COLUMNS as DUE_COLUMNS
from reports.duelist import cells, due_list
from reports.listed import Listed, Rows
from reports.lists_trend import TREND
from reports.stock_lists import ENTRIES, STOCK, entry_rows, stock_rows
from reports.tables.csv import Cell


def _due(query: QueryDict) -> Rows | None:
    listed = due_list(query)
    return None if listed is None else map(cells, listed.rows)


def _records(query: QueryDict) -> Rows | None:
    found = RecordFilter(query, queryset=with_states(CheckEvent.objects.all()))
    return map(_record, check_records.listed(found)) if found.is_valid() else None


def _record(event: CheckEvent) -> Sequence[Cell]:
    return (
        event.work_date,
        event.aircraft.registration,
        event.revision.procedure.title,
        event.revision.number,
        event.outcome,
        check_records.word(event),
        event.in_doubt,
        event.base.name,
        event.get_source_display(),
        str(event.pk),
    )


def _aircraft(query: QueryDict) -> Rows | None:
    found = AircraftFilter(query, queryset=Aircraft.objects.exclude(state=Aircraft.State.LEFT))
    if not found.is_valid():
        return None
    return (
        (
            line["aircraft"].registration,
            line["words"],
            len(line["reasons"]),
            line["due"],
            line["drift"],
            line["aircraft"].variant.name,
            line["aircraft"].base.name,
            line["latest"].latest_hours,
            line["latest"].latest_landings,
        )
        for line in list_lines(found.statuses(timezone.now()))
    )


def _icing(query: QueryDict) -> Rows | None:
    found = IcingFilter(query, queryset=Aircraft.objects.exclude(state=Aircraft.State.LEFT))
    return _reasons(found) if found.is_valid() else None


def _reasons(found: IcingFilter) -> Iterator[Sequence[Cell]]:
    """One row for each reason; an aircraft without one has one row that says so."""
    at = timezone.now()
    for status in found.statuses(at):
        first = (status.aircraft.registration, status.aircraft.base.name, status.words)
        for reason in status.reasons or (None,):
            yield (*first, reason.kind if reason else "", reason.text if reason else "", at)


def _defects(query: QueryDict) -> Rows | None:
    found = defects.found_defects(query)
    return map(_defect, map(shown, defects.listed(found))) if found.is_valid() else None


def _defect(one: DefectShown) -> Sequence[Cell]:
    defect, deferral = one.defect, one.deferral
    return (
        defect.aircraft.registration,
        defect.aircraft.base.name,
        defect.position.name if defect.position else "",
        defect.raised_at,
        one.state,
        defect.description,
        deferral.mel_item if deferral else "",
        deferral.category if deferral else "",
        deferral.last_day if deferral else None,
        deferral.limit_words if deferral else "",
        deferral.limitation if deferral else "",
    )


def _utilisation(query: QueryDict) -> Rows | None:
    found = UtilisationFilter(query, queryset=utilisation.flying())
    if not found.is_valid():
        return None
    return (
        (one.registration, one.base.name, one.latest_on, one.latest_hours, one.latest_landings)
        for one in utilisation.listed(found)
    )


def _instruments(query: QueryDict) -> Rows | None:
    found = instruments.found_instruments(query)
    if not found.is_valid():
        return None
    return (
        (
            one.code,
            one.get_kind_display(),
            one.calibration_state,
            one.calibration_due,
            instruments.range_of(one),
            one.owner,
            one.base.name if one.base else "",
            one.in_use,
        )
        for one in instruments.listed(found)
    )


def _procedures(query: QueryDict) -> Rows | None:
    known = with_revision_states(Revision.objects.all(), timezone.localdate())
    found = ProcedureFilter(query, queryset=Procedure.objects.all(), revisions=known)
    return _revisions(revisions.listed(found)) if found.is_valid() else None


def _revisions(procedures: Iterable[Procedure]) -> Iterator[Sequence[Cell]]:
    """One row for each revision; a procedure without one has one row."""
    for one in procedures:
        first = (one.title, one.variant.name, one.get_kind_display())
        for revision in one.newest_first:
            people = (str(revision.typed_by), str(revision.approved_by or ""))
            yield (*first, revision.number, revision.now_is, revision.effective_on, *people)
        if not one.newest_first:
            yield (*first, "", "", None, "", "")


def _programme(query: QueryDict) -> Rows | None:
    found = ProgrammeFilter(query, queryset=with_task_states(RecurringCheck.objects.all()))
    return map(_task, programme.listed(found)) if found.is_valid() else None


def _task(task: RecurringCheck) -> Sequence[Cell]:
    row = programme.task_row(task)
    return (
        task.title,
        task.procedure.variant.name,
        task.now_is,
        task.waits,
        row["interval"],
        row["tolerance"],
        task.get_counting_display(),
        first_in_words(task),
        row["aircraft"],
        task.reference,
        task.work_hours,
    )


LISTS = {
    "due": Listed("checks:due_list", DUE_COLUMNS, _due),
    "records": Listed(
        "checks:records",
        (
            "Date of work",
            "Aircraft",
            "Task",
            "Revision",
            "Outcome",
            "State",
            "In doubt",
            "Where",
            "Source",
            "Key",
        ),
        _records,
    ),
    "aircraft": Listed(
        "checks:aircraft_list",
        (
            "Aircraft",
            "Icing status",
            "Reasons",
            "Most pressing check",
            "Drift",
            "Variant",
            "Base",
            "Flight hours",
            "Landings",
        ),
        _aircraft,
    ),
    "icing": Listed(
        "checks:icing_status",
        ("Aircraft", "Base", "Status", "Kind", "What is recorded", "As recorded at"),
        _icing,
    ),
    "defects": Listed(
        "checks:defects",
        (
            "Aircraft",
            "Base",
            "Position",
            "Raised",
            "State",
            "Defect",
            "MEL item",
            "Repair category",
            "Last day",
            "Deferred for",
            "Limitation",
        ),
        _defects,
    ),
    **TREND,
    "utilisation": Listed(
        "checks:utilisation",
        ("Aircraft", "Base", "Latest entry", "Flight hours", "Landings"),
        _utilisation,
    ),
    "instruments": Listed(
        "checks:instruments",
        ("Instrument", "Kind", "Calibration", "Calibration due", "Range", "Owner", "Base", "In use"),
        _instruments,
    ),
    "programme": Listed(
        "checks:programme",
        (
            "Task",
            "Variant",
            "State",
            "Revision waits",
            "Interval",
            "Tolerance",
            "Counting",
            "First due",
            "Aircraft",
            "Reference",
            "Hours of work",
        ),
        _programme,
    ),
    "procedures": Listed(
        "checks:procedures",
        (
            "Procedure",
            "Variant",
            "Kind",
            "Revision",
            "State",
            "Effective on",
            "Typed by",
            "Approved by",
        ),
        _procedures,
    ),
    "stock": Listed("checks:stock", STOCK, stock_rows),
    "stock-entries": Listed("checks:stock_entries", ENTRIES, entry_rows),
}
