"""The filter of the list of records."""

import django_filters
from django import forms
from django.db.models import Exists, OuterRef, QuerySet

from checks.models import CheckEvent, Procedure, Signature
from checks.selectors.doubt import with_doubt
from fleet.models import Aircraft

STATES = (
    ("draft", "draft"),
    ("awaiting", "awaiting second signature"),
    ("signed", "signed, not released"),
    ("released", "released"),
    ("superseded", "superseded"),
    ("doubt", "in doubt"),
)


def titles() -> list[tuple[str, str]]:
    """The tasks, each title once. One query."""
    found = Procedure.objects.order_by("title").values_list("title", flat=True).distinct()
    return [(title, title) for title in found]


def with_states(events: QuerySet[CheckEvent]) -> QuerySet[CheckEvent]:
    """Adds `inspected`, `released`, `corrected` and `in_doubt` (bool)."""
    given = Signature.objects.filter(event=OuterRef("pk"))
    later = CheckEvent.objects.signed().filter(supersedes=OuterRef("pk"))
    return with_doubt(events).annotate(
        inspected=Exists(given.filter(act=Signature.Act.INSPECTED)),
        released=Exists(given.filter(act=Signature.Act.RELEASED)),
        corrected=Exists(later),
    )


class RecordFilter(django_filters.FilterSet):
    """Which records to list, given a queryset of with_states."""

    aircraft = django_filters.ModelChoiceFilter(
        queryset=Aircraft.objects.all(),
        to_field_name="registration",
        label="Aircraft",
        empty_label="every aircraft",
    )
    task = django_filters.ChoiceFilter(
        field_name="revision__procedure__title", choices=titles, label="Task", empty_label="every task"
    )
    outcome = django_filters.ChoiceFilter(
        choices=CheckEvent.Outcome.choices, label="Outcome", empty_label="every outcome"
    )
    state = django_filters.ChoiceFilter(
        choices=STATES, method="in_state", label="State", empty_label="every state"
    )
    begins = django_filters.DateFilter(
        field_name="work_date",
        lookup_expr="gte",
        label="From",
        widget=forms.DateInput(attrs={"type": "date"}),
    )
    ends = django_filters.DateFilter(
        field_name="work_date", lookup_expr="lte", label="To", widget=forms.DateInput(attrs={"type": "date"})
    )
    source = django_filters.ChoiceFilter(
        choices=CheckEvent.Source.choices, label="Source", empty_label="every source"
    )

    class Meta:
        model = CheckEvent
        fields: list[str] = []

    def in_state(self, events: QuerySet[CheckEvent], name: str, state: str) -> QuerySet[CheckEvent]:
        """Each event is in one state: drafts, corrected ones, then by the signatures that it has. Beside it,
        it may be in doubt."""
        if state == "doubt":
            return events.filter(in_doubt=True)
        if state == "draft":
            return events.filter(state=CheckEvent.State.DRAFT)
        signed = events.filter(state=CheckEvent.State.SIGNED)
        if state == "superseded":
            return signed.filter(corrected=True)
        signed = signed.filter(corrected=False)
        if state == "released":
            return signed.filter(released=True)
        waiting = {
            "revision__procedure__needs_inspection": True,
            "inspected": False,
            "source": CheckEvent.Source.ENTERED,
        }
        unreleased = signed.filter(released=False)
        return unreleased.filter(**waiting) if state == "awaiting" else unreleased.exclude(**waiting)
