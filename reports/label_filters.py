"""Which things to print labels for."""

from typing import Any

import django_filters
from django import forms
from django.db.models import Exists, OuterRef, Q, QuerySet

from fleet.models import Aircraft, Base, Fitment, Instrument, Part, Position, Variant

_PART_OF = forms.TextInput(attrs={"placeholder": "or part of it", "autocomplete": "off"})


class LabelFilter(django_filters.FilterSet):
    """Call is_valid() first. words: the filter as a line of text."""

    @property
    def words(self) -> str:
        given = self.form.cleaned_data.items()
        said = [
            f"{self.form[name].label.lower()} {value}" for name, value in given if value not in (None, "")
        ]
        return "; ".join(said) or "all of them"


class AircraftLabels(LabelFilter):
    """Aircraft by registration, base and variant."""

    registration = django_filters.CharFilter(lookup_expr="icontains", label="Registration", widget=_PART_OF)
    base = django_filters.ModelChoiceFilter(
        queryset=Base.objects.all(), label="Base", empty_label="every base"
    )
    variant = django_filters.ModelChoiceFilter(
        queryset=Variant.objects.all(), label="Variant", empty_label="every variant"
    )

    class Meta:
        model = Aircraft
        fields: list[str] = []


class PartLabels(LabelFilter):
    """Parts by number, kind, and the aircraft that they are fitted to."""

    number = django_filters.CharFilter(method="numbered", label="Part or serial number", widget=_PART_OF)
    kind = django_filters.ChoiceFilter(choices=Position.Kind.choices, label="Kind", empty_label="every kind")
    aircraft = django_filters.CharFilter(
        method="fitted_to", label="Fitted to aircraft", widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    base = django_filters.ModelChoiceFilter(
        queryset=Base.objects.all(), method="fitted_at", label="Fitted at base", empty_label="every base"
    )

    class Meta:
        model = Part
        fields: list[str] = []

    def numbered(self, parts: QuerySet[Part], _name: str, value: str) -> QuerySet[Part]:
        return parts.filter(Q(part_number__icontains=value) | Q(serial_number__icontains=value))

    def fitted_to(self, parts: QuerySet[Part], _name: str, value: str) -> QuerySet[Part]:
        return self._fitted(parts, aircraft__registration__iexact=value.strip())

    def fitted_at(self, parts: QuerySet[Part], _name: str, base: Base) -> QuerySet[Part]:
        return self._fitted(parts, aircraft__base=base)

    def _fitted(self, parts: QuerySet[Part], **where: Any) -> QuerySet[Part]:
        return parts.filter(Exists(Fitment.objects.current().filter(part=OuterRef("pk"), **where)))


class InstrumentLabels(LabelFilter):
    """Instruments in use by code, kind and base."""

    code = django_filters.CharFilter(lookup_expr="icontains", label="Code", widget=_PART_OF)
    kind = django_filters.ChoiceFilter(
        choices=Instrument.Kind.choices, label="Kind", empty_label="every kind"
    )
    base = django_filters.ModelChoiceFilter(
        queryset=Base.objects.all(), label="Base", empty_label="every base"
    )

    class Meta:
        model = Instrument
        fields: list[str] = []
