"""Filter of the defect list, and the forms that raise, defer and rectify a defect."""

import datetime as dt
from collections.abc import Iterable

import django_filters
from django import forms
from django.db.models import QuerySet

from checks.engine.deferral import deferral_expiry
from checks.forms.check_sign import PasswordForm
from checks.models import CheckEvent, Defect, Deferral
from checks.selectors.defects import CLOSED, STATES
from fleet.models import Aircraft, Base, Position

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
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
    """What was found, and where."""

    position = forms.ModelChoiceField(
        queryset=Position.objects.none(), required=False, empty_label="no single position"
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


class DeferForm(PasswordForm):
    """A deferral under the operator's MEL."""

    mel_item = forms.CharField(
        label="MEL item",
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
        help_text="Number of the item in the operator’s MEL.",
        error_messages={"required": "Give the number of the item in the operator’s MEL."},
    )
    category = forms.ChoiceField(
        label="Repair category",
        choices=Deferral.Category.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose the category that the MEL item states."},
    )
    stated_days = forms.IntegerField(
        label="Days stated in the item",
        required=False,
        min_value=0,
        max_value=3650,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text="Category A only: consecutive calendar days, the day of recording excluded.",
        error_messages={"invalid": "Write whole days in digits, as 30."},
    )
    recorded_on = forms.DateField(
        label="Recorded date",
        widget=DAY,
        help_text="The day on which the defect was recorded. The days count from the day after it.",
        error_messages={"required": "Give the date on which the defect was recorded."},
    )
    limitation = forms.CharField(
        label="Limitation",
        widget=forms.Textarea,
        help_text="As on the placard, with the (M) and (O) procedures that the item asks for.",
        error_messages={"required": "Write the limitation as on the placard."},
    )
    limits_icing = forms.BooleanField(
        label="Holds against flight in icing while it lasts", required=False, initial=True
    )
    field_order = (
        "mel_item",
        "category",
        "stated_days",
        "recorded_on",
        "limitation",
        "limits_icing",
        "password",
    )


class LastDayForm(forms.Form):
    """What the last day of a deferral depends on, from a form that is still being filled in."""

    category = forms.CharField(required=False)
    stated_days = forms.IntegerField(required=False, min_value=0, max_value=3650)
    recorded_on = forms.DateField(required=False)

    def last_days(self) -> list[tuple[str, dt.date | None]]:
        """Each repair category (or the chosen one) with its last day; None where it can't be told yet."""
        self.full_clean()
        recorded, stated = self.cleaned_data.get("recorded_on"), self.cleaned_data.get("stated_days")
        chosen = self.cleaned_data.get("category")
        return [
            (category, last_day(category, recorded, stated))
            for category in Deferral.Category.values
            if chosen not in Deferral.Category.values or category == chosen
        ]


def last_day(category: str, recorded_on: dt.date | None, stated_days: int | None) -> dt.date | None:
    """The last day on which a deferral holds; None where something is missing. The days stated in an item
    count for category A alone."""
    if recorded_on is None:
        return None
    try:
        return deferral_expiry(
            category, recorded_on, stated_days=stated_days if category == Deferral.Category.A else None
        )
    except (ValueError, OverflowError):
        return None


class RectifyForm(PasswordForm):
    """What was done, and the retest that supports it."""

    text = forms.CharField(
        label="What was done",
        widget=forms.Textarea,
        error_messages={"required": "Say what was done."},
    )
    retest = forms.ChoiceField(
        label="Retest",
        required=False,
        widget=forms.RadioSelect,
        help_text="It supports the closing; it does not close the defect.",
    )
    without_retest = forms.CharField(
        label="Why there is no retest",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Only where none is named above.",
    )
    field_order = ("text", "retest", "without_retest", "password")

    def __init__(self, *args: object, retests: Iterable[CheckEvent], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.by_key = {str(event.pk): event for event in retests}
        self.fields["retest"].choices = [
            *((key, words_of(event)) for key, event in self.by_key.items()),
            ("", "none"),
        ]

    def clean_retest(self) -> CheckEvent | None:
        return self.by_key.get(self.cleaned_data["retest"])


def words_of(event: CheckEvent) -> str:
    """A retest as the form offers it."""
    outcome = event.get_outcome_display() or "no outcome on the paper record"
    return f"{event.work_date:%d %b %Y}: {event.revision.procedure.title}, {outcome}"
