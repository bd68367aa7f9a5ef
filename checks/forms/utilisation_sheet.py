"""The sheet on which the totals of a whole fleet are typed at once."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django import forms

from checks.forms.utilisation import ask, before_of
from checks.selectors.due_counting import Totals
from fleet.models import Aircraft, Base, UtilisationEntry


class SheetHead(forms.Form):
    """What holds for every row: the day, and of which base the aircraft are."""

    base = forms.ModelChoiceField(Base.objects.all(), required=False, empty_label="every base")
    on = forms.DateField(
        label="Totals at the end of",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"required": "Give the day at whose end the totals hold."},
    )


class RowForm(forms.ModelForm):
    """Totals of one aircraft. Left empty it is passed over."""

    sure = forms.BooleanField(required=False, label="right as written")

    class Meta:
        model = UtilisationEntry
        fields = ["hours", "landings"]
        widgets = {
            "hours": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
            "landings": forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        }

    def __init__(self, *args, totals: Totals, on: dt.date | None, gap_days: int, **kwargs) -> None:
        super().__init__(*args, empty_permitted=True, use_required_attribute=False, **kwargs)
        self.totals, self.on, self.gap_days = totals, on, gap_days
        self.asked = False

    def clean(self) -> dict:
        data = super().clean()
        hours, landings = data.get("hours"), data.get("landings")
        if self.on and hours is not None and landings is not None and not data.get("sure"):
            self.asked = ask(self, before_of(self.totals), self.on, hours, landings, self.gap_days)
        return data


@dataclass
class Row:
    """One line of the sheet. entered: it was taken just now, or the day already has these totals."""

    aircraft: Aircraft
    totals: Totals
    form: RowForm
    entered: UtilisationEntry | None = None


def rows_of(
    fleet: list[Aircraft],
    totals: Mapping[int, Totals],
    *,
    on: dt.date | None,
    gap_days: int,
    data: Mapping[str, str] | None = None,
) -> Iterator[Row]:
    """A row for each aircraft, in their order. No query."""
    for aircraft in fleet:
        known = totals.get(aircraft.pk, Totals())
        form = RowForm(data, prefix=f"a{aircraft.pk}", totals=known, on=on, gap_days=gap_days)
        for name, label in (("hours", "flight hours"), ("landings", "landings")):
            form.fields[name].widget.attrs["aria-label"] = f"{aircraft}: {label}"
        yield Row(aircraft, known, form)
