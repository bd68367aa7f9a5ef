"""What a controller types about work packages: how far to plan, where to move one, hours of a single day."""

import datetime as dt

from django import forms

from checks.models import PlanRun, WorkDay, WorkPackage
from fleet.models import Base

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")


class PlanForm(forms.ModelForm):
    """How far ahead, and how far a check may be brought forward."""

    class Meta:
        model = PlanRun
        fields = ["days", "forward_days"]
        help_texts = {
            "days": "7 to 180; checks due later are not planned yet.",
            "forward_days": "At most so many days before its due date is a check done, to share a stay.",
        }


class MoveForm(forms.Form):
    """Another day, and of an accepted package another base."""

    on = forms.DateField(label="Day", widget=DAY, error_messages={"required": "Choose the day."})
    base = forms.ModelChoiceField(Base.objects.all(), label="At", empty_label=None)

    def __init__(self, package: WorkPackage, data: object = None) -> None:
        super().__init__(data, initial={"on": package.on, "base": package.base_id})


class WorkDayForm(forms.ModelForm):
    """Hours of one day that are not as usual."""

    class Meta:
        model = WorkDay
        fields = ["on", "hours", "reason"]
        widgets = {"on": DAY}
        help_texts = {"hours": "0: closed. Leave empty to go back to the usual hours."}

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.fields["hours"].required = False


def week_asked(text: str, today: dt.date) -> dt.date:
    """The Monday of ?from=2026-11-23; that of this week where it is no date, or one without a calendar."""
    try:
        day = dt.date.fromisoformat(text)
    except ValueError:
        day = today
    if abs((day - today).days) > 3660:
        day = today
    return day - dt.timedelta(days=day.weekday())
