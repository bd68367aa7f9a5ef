"""Which aircraft and period an audit pack is made of."""

from typing import Any

from django import forms

from fleet.models import Aircraft
from reports.pack_tables import Span


class PackForm(forms.Form):
    """An aircraft, those that have left too, and a period; neither day: the whole life."""

    aircraft = forms.ModelChoiceField(
        Aircraft.objects.select_related("variant", "base"),
        to_field_name="registration",
        empty_label="choose an aircraft",
    )
    since = forms.DateField(
        label="From",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="Empty: from the first record on, as at a sale or transfer.",
    )
    until = forms.DateField(
        label="To",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="The whole of this day. Empty: up to now.",
    )

    def clean(self) -> dict[str, Any]:
        told = super().clean()
        since, until = told.get("since"), told.get("until")
        if since and until and until < since:
            self.add_error("until", "The period ends before it begins. Give a later day.")
        return told

    @property
    def span(self) -> Span:
        """The period of a valid form."""
        return Span(self.cleaned_data["since"], self.cleaned_data["until"])
