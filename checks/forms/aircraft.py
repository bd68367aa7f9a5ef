"""Filters of the aircraft list and of the icing status."""

import datetime as dt
from collections.abc import Callable
from operator import attrgetter
from typing import Any, ClassVar

import django_filters
from django import forms
from django.db.models import QuerySet

from checks.selectors.icing import AGAINST, NOTHING, IcingStatus
from checks.selectors.icing_board import Board, Line, board, statuses_of
from fleet.models import Aircraft, Base, Variant


class IcingFilter(django_filters.FilterSet):
    """Aircraft by base and by whether anything is recorded against them, which `statuses` answers."""

    SORTS: ClassVar[dict[str, Callable[[Board], Callable[[Line], Any]]]] = {
        "aircraft": lambda found: attrgetter("registration"),
        "base": lambda found: attrgetter("base"),
        "variant": lambda found: attrgetter("variant"),
        "status": lambda found: found.gravity,
    }

    base = django_filters.ModelChoiceFilter(queryset=Base.objects.all(), empty_label="every base")
    icing = django_filters.ChoiceFilter(
        choices=[(AGAINST, AGAINST), (NOTHING, NOTHING)],
        method="as_it_is",
        label="Icing status",
        empty_label="every status",
    )

    class Meta:
        model = Aircraft
        fields: list[str] = []

    def as_it_is(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset

    def board_at(self, at: dt.datetime) -> Board:
        """How the aircraft that fit stand, ranked where the list is sorted so. Call is_valid() first."""
        return board(at=at, fleet=self.qs, ranked=self.data.get("sort", "").lstrip("-") == "status")

    def lines(self, found: Board) -> list[Line]:
        """The lines that fit, by registration unless another order is asked for. No query."""
        chosen = self.form.cleaned_data["icing"]
        kept = [line for line in found.lines if not chosen or found.words(line) == chosen]
        asked = self.data.get("sort", "")
        if key := self.SORTS.get(asked.lstrip("-")):
            kept.sort(key=key(found), reverse=asked.startswith("-"))
        return kept

    def statuses(self, at: dt.datetime) -> list[IcingStatus]:
        """The icing status of all aircraft that fit, in the order asked for. Call is_valid() first."""
        found = self.board_at(at)
        return statuses_of(found, self.lines(found))


class AircraftFilter(IcingFilter):
    """Aircraft by registration, base, variant and icing status."""

    registration = django_filters.CharFilter(
        lookup_expr="icontains",
        label="Registration",
        widget=forms.TextInput(attrs={"placeholder": "or part of it", "autocomplete": "off"}),
    )
    variant = django_filters.ModelChoiceFilter(queryset=Variant.objects.all(), empty_label="every variant")

    field_order = ("registration", "base", "variant", "icing")

    def get_form_class(self) -> type[forms.Form]:
        form = super().get_form_class()
        form.field_order = self.field_order
        return form
