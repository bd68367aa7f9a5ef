"""Filters of the aircraft list and of the icing status."""

import datetime as dt

import django_filters
from django import forms
from django.db.models import QuerySet

from checks.selectors.icing import AGAINST, NOTHING, IcingStatus, icing_statuses
from fleet.models import Aircraft, Base, Variant


class IcingFilter(django_filters.FilterSet):
    """Aircraft by base and by whether anything is recorded against them, which `statuses` answers."""

    SORTS = {
        "aircraft": lambda status: status.aircraft.registration,
        "base": lambda status: status.aircraft.base.name,
        "variant": lambda status: status.aircraft.variant.name,
        "status": lambda status: status.gravity,
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

    def statuses(self, at: dt.datetime) -> list[IcingStatus]:
        """The icing status of the aircraft that fit, by registration unless another order is asked for. Call
        is_valid() first."""
        chosen = self.form.cleaned_data["icing"]
        found = icing_statuses(at=at, aircraft_ids=self.qs.order_by().values_list("pk", flat=True))
        kept = [status for status in found if not chosen or status.words == chosen]
        asked = self.data.get("sort", "")
        if key := self.SORTS.get(asked.lstrip("-")):
            kept.sort(key=key, reverse=asked.startswith("-"))
        return kept


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
