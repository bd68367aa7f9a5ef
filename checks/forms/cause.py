"""The confirmed cause of a check, and the one answer that the ranking may be asked again with."""

from django import forms

from checks.engine.diagnosis_data import NO, NOT_LOOKED, YES
from checks.models import CheckEvent
from checks.models.cause import cause_choices
from fleet.models import Position

WET = (
    (NOT_LOOKED, "not looked"),
    (YES, "yes, fluid was seen where it should not be"),
    (NO, "no, looked and found none"),
)


class CauseForm(forms.Form):
    """What it was, where, and a remark; the position is left open where the cause is of none."""

    cause = forms.ChoiceField(
        label="What it turned out to be",
        choices=[("", "Choose the cause that was found")],
        error_messages={"required": "Choose the cause that was found."},
    )
    position = forms.ModelChoiceField(
        Position.objects.none(), label="Where", required=False, empty_label="no single place"
    )
    remark = forms.CharField(
        label="Remark", max_length=400, required=False, help_text="What showed it. Needed for something else."
    )
    wet = forms.ChoiceField(choices=WET, required=False, widget=forms.HiddenInput)

    def __init__(self, event: CheckEvent, data: object = None, *, wet: str = NOT_LOOKED) -> None:
        super().__init__(data, initial={"wet": wet}, prefix=None)
        self.fields["cause"].choices = [("", "Choose the cause that was found"), *cause_choices()]
        self.fields["position"].queryset = Position.objects.filter(variant=event.aircraft.variant_id)


class WetForm(forms.Form):
    """Asked of the page, kept nowhere."""

    wet = forms.ChoiceField(
        label="Was fluid seen where it should not be?", choices=WET, required=False, initial=NOT_LOOKED
    )
