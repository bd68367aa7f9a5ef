"""Forms of the utilisation pages."""

import datetime as dt
from decimal import Decimal

import django_filters
from django import forms

from checks.engine.use_questions import Before, use_questions
from checks.selectors.due_counting import Totals
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

    Given `totals`, what is odd beside them asks for a tick in `sure`, which is shown then.
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

    def __init__(
        self, *args, totals: Totals | None = None, gap_days: int = 0, correcting: bool = False, **kwargs
    ) -> None:
        super().__init__(*args, **kwargs)
        self.before, self.gap_days = before_of(totals), gap_days
        if correcting:
            self.fields["remark"].required = True
            self.fields["remark"].label = "Reason for the correction"

    def clean(self) -> dict:
        data = super().clean()
        given = [data.get(name) for name in ("on", "hours", "landings")]
        if None not in given and not data.get("sure") and ask(self, self.before, *given, self.gap_days):
            self.fields["sure"].widget = forms.CheckboxInput()
        return data


def before_of(totals: Totals | None) -> Before | None:
    """What was entered last, as the questions want it; None where nothing was."""
    if totals is None or totals.on is None:
        return None
    return Before(totals.on, totals.hours, totals.landings, totals.hours_per_day, totals.landings_per_day)


def ask(
    form: forms.BaseForm, before: Before | None, on: dt.date, hours: Decimal, landings: int, gap_days: int
) -> bool:
    """Put what is odd about the totals beside the fields, with the way out; whether there was anything."""
    asked = use_questions(before, on, hours, landings, gap_days=gap_days) if before else ()
    for question in asked:
        field = question.field if question.field in form.fields else None
        form.add_error(field, f"{question.text} Check the figure; if it is right, tick 'right as written'.")
    return bool(asked)
