"""The filter of the drift ranking."""

import django_filters
from django.db.models import F, QuerySet

from checks.filters import OfAircraft
from checks.models import SeriesState
from checks.selectors.drift import ORDER
from fleet.models import MeasuringPoint, Variant


class DriftFilter(OfAircraft):
    """Which series to list, given checks.selectors.drift.series_states."""

    SAID = OfAircraft.SAID | {"variant": "{}", "point": "{}"}
    WHOLE = "the whole fleet"

    SORTS = {
        "rank": "urgency",
        "aircraft": "aircraft__registration",
        "point": "point__order",
        "crossing": "crossing_on",
        "margin": "margin",
    }

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

    def label_of(self, name: str, value: object) -> object:
        return MeasuringPoint.Kind(value).label if name == "point" else value
