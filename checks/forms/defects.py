"""Filter of the defect list, and the forms that raise a defect."""

import django_filters
from django import forms
from django.db.models import QuerySet

from checks.forms.defect_acts import DAY
from checks.models import Defect
from checks.selectors.defects import CLOSED, STATES
from fleet.models import Aircraft, Base, MeasuringPoint, Position

NOT_CLOSED, ALL = "", "all"


class DefectFilter(django_filters.FilterSet):
    """Defects of with_states by state (those not closed unless asked otherwise), base and aircraft."""

    state = django_filters.ChoiceFilter(
        choices=[*((state, state) for state in STATES), (ALL, "every state")],
        method="in_state",
        label="State",
        empty_label="not closed",
    )
    base = django_filters.ModelChoiceFilter(
        field_name="aircraft__base", queryset=Base.objects.all(), label="Base", empty_label="every base"
    )
    aircraft = django_filters.CharFilter(
        field_name="aircraft__registration",
        lookup_expr="icontains",
        label="Aircraft",
        widget=forms.TextInput(attrs={"placeholder": "registration or part of it", "autocomplete": "off"}),
    )

    class Meta:
        model = Defect
        fields: list[str] = []

    def in_state(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset if value == ALL else queryset.filter(now_is=value)

    def filter_queryset(self, queryset: QuerySet) -> QuerySet:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data["state"] else found.exclude(now_is=CLOSED)


class FindAircraftForm(forms.Form):
    """Which aircraft a defect is raised on."""

    aircraft = forms.ModelChoiceField(
        queryset=Aircraft.objects.exclude(state=Aircraft.State.LEFT),
        to_field_name="registration",
        empty_label="choose",
        error_messages={"invalid_choice": "No aircraft of the fleet has this registration. Choose one."},
    )


class RaiseForm(forms.Form):
    """What was found, where, and by whom."""

    source = forms.ChoiceField(
        label="How it was found",
        choices=Defect.Source.choices,
        initial=Defect.Source.HAND,
        widget=forms.RadioSelect,
        error_messages={"required": "Say how it was found."},
    )
    reported_by = forms.CharField(
        max_length=80, required=False, help_text="Of a pilot report: the pilot, by name or number."
    )
    reference = forms.CharField(label="Page of the technical log", max_length=60, required=False)
    recorded_on = forms.DateField(
        label="Recorded date",
        required=False,
        widget=DAY,
        help_text="The day of the write-up, where that was before today: deferral days count from it.",
    )
    position = forms.ModelChoiceField(
        queryset=Position.objects.none(), required=False, empty_label="no single position"
    )
    point = forms.ModelChoiceField(
        label="Measuring point",
        queryset=MeasuringPoint.objects.none(),
        required=False,
        empty_label="no single point",
    )
    description = forms.CharField(
        label="What was found",
        widget=forms.Textarea,
        help_text="Its first line stands in every list.",
        error_messages={"required": "Say what was found."},
    )

    def __init__(self, *args: object, aircraft: Aircraft, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.fields["position"].queryset = Position.objects.filter(variant=aircraft.variant_id)
        self.fields["point"].queryset = MeasuringPoint.objects.filter(variant=aircraft.variant_id)
