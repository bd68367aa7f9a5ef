"""Forms of starting a check: which aircraft to show, and what is started."""

from django import forms

from checks.models import CheckEvent, Procedure
from fleet.models import Aircraft, Base


class FindAircraft(forms.Form):
    """Which aircraft to offer."""

    q = forms.CharField(
        required=False,
        label="Registration",
        max_length=12,
        widget=forms.TextInput(attrs={"placeholder": "or part of it", "autocomplete": "off"}),
    )
    base = forms.ModelChoiceField(Base.objects.all(), required=False, empty_label="every base", label="Base")


class StartForm(forms.Form):
    """One tap on a task starts its check. The uuid makes two taps one check."""

    uuid = forms.UUIDField(widget=forms.HiddenInput)
    aircraft = forms.ModelChoiceField(
        Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base", "variant"),
        to_field_name="registration",
        widget=forms.HiddenInput,
        error_messages={"invalid_choice": "This aircraft is not in the fleet. Choose one from the list."},
    )
    procedure = forms.ModelChoiceField(
        Procedure.objects.select_related("variant"), widget=forms.HiddenInput, label="Task"
    )
    work_date = forms.DateField(
        label="Date of work",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Write the day of the work as 2026-11-25."},
    )
    base = forms.ModelChoiceField(Base.objects.all(), label="Where the work is done", empty_label=None)
    follows = forms.ModelChoiceField(
        CheckEvent.objects.signed(), required=False, widget=forms.HiddenInput, label="Follows"
    )
