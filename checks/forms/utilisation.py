"""Forms of the utilisation pages."""

import datetime as dt
from decimal import Decimal

import django_filters
from django import forms

from fleet.models import Aircraft, Base, UtilisationEntry


class UtilisationFilter(django_filters.FilterSet):
    """Which aircraft to list: words of the registration, base."""

    registration = django_filters.CharFilter(lookup_expr="icontains", label="Registration")
    base = django_filters.ModelChoiceFilter(queryset=Base.objects.all(), empty_label="every base")

    class Meta:
        model = Aircraft
        fields: list[str] = []


class UtilisationForm(forms.ModelForm):
    """The totals at the end of one day. The service decides whether they may stand.

    Given `latest`, more flight hours a day than a day has asks for a tick in `sure`, which is shown then.
    """

    sure = forms.BooleanField(
        required=False, label="The figures are right as written", widget=forms.HiddenInput, initial=False
    )

    class Meta:
        model = UtilisationEntry
        fields = ["on", "hours", "landings", "kind", "remark"]
        widgets = {
            "on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "hours": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            "landings": forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        }
        help_texts = {
            "on": "The totals hold at the end of this day.",
            "hours": "Total flight hours with a decimal point, e.g. 4312.60.",
            "kind": "Meter change: a new hour meter was put in; enter the aircraft's total, not the meter's.",
        }

    def __init__(self, *args, latest: UtilisationEntry | None = None, correcting: bool = False, **kwargs):
        super().__init__(*args, **kwargs)
        self.latest = latest
        if correcting:
            self.fields["remark"].required = True
            self.fields["remark"].label = "Reason for the correction"

    def clean(self) -> dict:
        data = super().clean()
        on, hours = data.get("on"), data.get("hours")
        if self.latest and on and hours is not None and not data.get("sure"):
            most = most_hours(self.latest, on)
            if most is not None and hours > most:
                self.fields["sure"].widget = forms.CheckboxInput()
                self.add_error(
                    "hours",
                    f"Since {self.latest.on:%d %b %Y} ({self.latest.hours} h) no more than {most} h can have "
                    "come together. Check the figure; if it is right, tick the box below.",
                )
        return data


def most_hours(latest: UtilisationEntry, on: dt.date) -> Decimal | None:
    """The highest total possible at the end of the day, 24 h a day; None for a day before the latest."""
    days = (on - latest.on).days
    return latest.hours + 24 * days if days > 0 else None
