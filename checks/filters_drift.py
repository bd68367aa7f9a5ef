"""The filter of the drift ranking."""

from functools import cached_property

import django_filters
from django import forms
from django.db.models import F, QuerySet

from checks.models import SeriesState
from checks.selectors.drift import ORDER
from fleet.models import Base, MeasuringPoint, Variant


class DriftFilter(django_filters.FilterSet):
    """Which series to list, given checks.selectors.drift.series_states. Call is_valid() first: a list for a
    filter that was not understood would pass for the answer."""

    SORTS = {
        "rank": "urgency",
        "aircraft": "aircraft__registration",
        "point": "point__order",
        "crossing": "crossing_on",
        "margin": "margin",
    }

    base = django_filters.ModelChoiceFilter(
        field_name="aircraft__base", queryset=Base.objects.all(), label="Base", empty_label="every base"
    )
    aircraft = django_filters.CharFilter(
        field_name="aircraft__registration",
        lookup_expr="icontains",
        label="Aircraft",
        widget=forms.TextInput(attrs={"placeholder": "registration or part of it", "autocomplete": "off"}),
    )
    variant = django_filters.ModelChoiceFilter(
        field_name="aircraft__variant",
        queryset=Variant.objects.all(),
        label="Variant",
        empty_label="every variant",
    )
    point = django_filters.ChoiceFilter(
        field_name="point__kind",
        choices=MeasuringPoint.Kind.choices,
        label="Measuring point",
        empty_label="every point",
    )
    state = django_filters.ChoiceFilter(
        choices=[(state, state.label) for state in SeriesState.URGENCY],
        label="State",
        empty_label="every state",
    )

    class Meta:
        model = SeriesState
        fields: list[str] = []

    def filter_queryset(self, queryset: QuerySet[SeriesState]) -> QuerySet[SeriesState]:
        state = self.form.cleaned_data.pop("state", "")
        self.of_every_state = super().filter_queryset(queryset)
        self.form.cleaned_data["state"] = state
        return self.of_every_state.filter(state=state) if state else self.of_every_state

    @property
    def listed(self) -> QuerySet[SeriesState]:
        """What the filter leaves, in the order asked for: the most urgent first unless another is."""
        asked = self.data.get("sort", "")
        field = self.SORTS.get(asked.lstrip("-"))
        if field is None:
            return self.qs
        down = asked.startswith("-")
        first = F(field).desc(nulls_last=True) if down else F(field).asc(nulls_last=True)
        return self.qs.order_by(first, *ORDER)

    @cached_property
    def words(self) -> str:
        """The filter as a line of text, for the head of a printed list."""
        given = {name: value for name, value in self.form.cleaned_data.items() if value not in (None, "")}
        if "point" in given:
            given["point"] = MeasuringPoint.Kind(given["point"]).label
        said = {
            "base": "base {}",
            "aircraft": "registration with “{}”",
            "variant": "{}",
            "point": "{}",
            "state": "{}",
        }
        return "; ".join(said[name].format(value) for name, value in given.items()) or "the whole fleet"
