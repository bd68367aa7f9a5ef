"""Filters of the lists."""

import datetime as dt
from functools import cached_property
from typing import Any

import django_filters
from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db.models import Q, QuerySet
from django.http import QueryDict

from checks.engine.due import NO_RECORD
from checks.models import DuePoint, RecurringCheck
from checks.selectors.due import ORDER, STATES
from fleet.models import Base, User

MOST_DAYS = 3650


def task_titles() -> list[tuple[str, str]]:
    """The tasks of the programme, each title once. One query."""
    titles = RecurringCheck.objects.filter(active=True).order_by("title").values_list("title", flat=True)
    return [(title, title) for title in titles.distinct()]


def owners(request: object) -> QuerySet[User]:
    """Who sees to any due point."""
    owned = DuePoint.objects.exclude(owner=None).order_by().values("owner")
    return User.objects.filter(pk__in=owned).order_by("first_name", "last_name", "username")


class OfAircraft(django_filters.FilterSet):
    """Rows that belong to an aircraft and have a state. Call is_valid() first: a list for a filter that was
    not understood would pass for the answer.

    SAID: how each filter is said on a printed list; WHOLE: what is said without any.
    """

    SAID = {"base": "base {}", "aircraft": "registration with “{}”", "state": "{}"}
    WHOLE = ""

    base = django_filters.ModelChoiceFilter(
        field_name="aircraft__base", queryset=Base.objects.all(), label="Base", empty_label="every base"
    )
    aircraft = django_filters.CharFilter(
        field_name="aircraft__registration",
        lookup_expr="icontains",
        label="Aircraft",
        widget=forms.TextInput(attrs={"placeholder": "registration or part of it", "autocomplete": "off"}),
    )

    def filter_queryset(self, queryset: QuerySet) -> QuerySet:
        """Keeps `of_every_state` for the counts by state, which all filters but that of the state leave."""
        state = self.form.cleaned_data.pop("state", "")
        self.of_every_state = super().filter_queryset(queryset)
        self.form.cleaned_data["state"] = state
        return self.of_every_state.filter(state=state) if state else self.of_every_state

    @cached_property
    def words(self) -> str:
        """The filter as a line of text, for the head of a printed list."""
        given = {name: value for name, value in self.form.cleaned_data.items() if value not in (None, "")}
        told = (self.SAID[name].format(self.label_of(name, value)) for name, value in given.items())
        return "; ".join(told) or self.WHOLE

    def label_of(self, name: str, value: object) -> object:
        """How a value of the filter is said."""
        return value


class DueFilter(OfAircraft):
    """Which due points to list, given a queryset of checks.selectors.due.due_points."""

    SAID = OfAircraft.SAID | {"task": "task {}", "horizon": "due within {} days", "owner": "owner {}"}
    WHOLE = "the whole due list"

    SORTS = {
        "due": ORDER,
        "aircraft": ("aircraft__registration", *ORDER),
        "base": ("aircraft__base__name", *ORDER),
        "task": ("check_due__title", *ORDER),
    }

    task = django_filters.ChoiceFilter(
        field_name="check_due__title", choices=task_titles, label="Task", empty_label="every task"
    )
    horizon = django_filters.NumberFilter(
        method="within",
        label="Due within days",
        decimal_places=0,
        validators=[MinValueValidator(0), MaxValueValidator(MOST_DAYS)],
        widget=forms.NumberInput(attrs={"min": 0, "max": MOST_DAYS, "inputmode": "numeric"}),
    )
    owner = django_filters.ModelChoiceFilter(
        queryset=owners, label="Owner", empty_label="everybody", null_label="nobody"
    )
    state = django_filters.ChoiceFilter(
        choices=[(state, state) for state in STATES], label="State", empty_label="every state"
    )

    class Meta:
        model = DuePoint
        fields: list[str] = []

    def __init__(self, data: QueryDict, *, today: dt.date, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.today = today

    def within(self, points: QuerySet[DuePoint], name: str, days: int) -> QuerySet[DuePoint]:
        """Due by then; what has no record stays in, since nobody can say that it is later."""
        return points.filter(Q(due_on__lte=self.today + dt.timedelta(days=int(days))) | Q(state=NO_RECORD))

    def label_of(self, name: str, value: object) -> object:
        return "nobody" if name == "owner" and value == "null" else value

    @property
    def listed(self) -> QuerySet[DuePoint]:
        """What the filter leaves, in the order asked for: soonest due first unless another is."""
        asked = self.data.get("sort", "")
        first, *rest = self.SORTS.get(asked.lstrip("-"), ORDER)
        if asked.startswith("-"):
            first = f"-{first}" if isinstance(first, str) else first.expression.desc(nulls_last=True)
        return self.qs.order_by(first, *rest)
