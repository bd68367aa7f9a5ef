"""Filter of the instrument list."""

import django_filters
from django.db.models import Q, QuerySet

from fleet.models import Base, Instrument
from fleet.models.instruments import DUE_SOON, IN_CALIBRATION, NOT_NEEDED, OUT_OF_CALIBRATION

STATES = [OUT_OF_CALIBRATION, DUE_SOON, IN_CALIBRATION, NOT_NEEDED]


class InstrumentFilter(django_filters.FilterSet):
    """Instruments by words, kind, base, state of calibration, and whether they are in use.

    The queryset comes with_calibration of a day, on which the state depends.
    """

    words = django_filters.CharFilter(method="with_words", label="Code, owner or serial number")
    kind = django_filters.ChoiceFilter(choices=Instrument.Kind, empty_label="every kind")
    base = django_filters.ModelChoiceFilter(queryset=Base.objects.all(), empty_label="every base")
    state = django_filters.ChoiceFilter(
        choices=[(state, state) for state in STATES],
        method="in_state",
        label="Calibration",
        empty_label="every state",
    )
    use = django_filters.ChoiceFilter(
        choices=[("no", "no longer in use"), ("all", "in use or not")],
        method="used",
        label="Use",
        empty_label="in use",
    )

    class Meta:
        model = Instrument
        fields: list[str] = []

    def with_words(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset.filter(
            Q(code__icontains=value) | Q(owner__icontains=value) | Q(serial_number__icontains=value)
        )

    def in_state(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset.filter(calibration_state=value)

    def used(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset.filter(in_use=False) if value == "no" else queryset
