"""Forms that are signed on a defect: deferral, extension and its answer, rectification, release."""

import datetime as dt
from collections.abc import Iterable

from django import forms
from django.core.exceptions import ValidationError

from checks.engine.deferral import deferral_expiry
from checks.forms.check_sign import PasswordForm
from checks.models import CheckEvent, MelItem
from checks.services.defects import OutsideWork
from fleet import certificates

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
YES_NO = (("yes", "Approve it"), ("no", "Refuse it"))


class ChooseItemForm(forms.Form):
    """Which item of the MEL in force serves."""

    item = forms.ModelChoiceField(
        label="MEL item",
        queryset=MelItem.objects.none(),
        widget=forms.RadioSelect,
        empty_label=None,
        error_messages={
            "required": "Choose the item of the MEL that it is deferred under.",
            "invalid_choice": "This item is not in force for the aircraft. Choose one that is.",
        },
    )

    def __init__(self, *args: object, variant_id: int, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.fields["item"].queryset = MelItem.objects.in_force().for_variant(variant_id)
        self.fields["item"].label_from_instance = words_of_item


def words_of_item(item: MelItem) -> str:
    return f"{item.number} {item.title} ({item.interval_words})"


class DeferForm(PasswordForm):
    """A deferral under a chosen item; it asks for what the item asks for."""

    recorded_on = forms.DateField(
        label="Recorded date",
        widget=DAY,
        help_text="The day on which the defect was recorded. The days count from the day after it.",
        error_messages={"required": "Give the date on which the defect was recorded."},
    )
    from_hours = forms.DecimalField(
        label="Total flight hours when recorded",
        max_digits=9,
        decimal_places=2,
        min_value=0,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        help_text="The hours that the item states count from here.",
        error_messages={"required": "Give the total flight hours at which it was recorded."},
    )
    maintenance_confirmed = forms.BooleanField(
        label="The (M) steps are done", error_messages={"required": "Confirm that the (M) steps are done."}
    )
    operations_confirmed = forms.BooleanField(
        label="The crew has the (O) steps",
        error_messages={"required": "Confirm that the crew has the (O) steps."},
    )
    placard_placed = forms.BooleanField(
        label="The placard is in place", error_messages={"required": "Confirm that the placard is in place."}
    )
    field_order = (
        "recorded_on",
        "from_hours",
        "maintenance_confirmed",
        "operations_confirmed",
        "placard_placed",
        "password",
    )

    def __init__(self, *args: object, item: MelItem, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        asked = {
            "from_hours": item.stated_unit == MelItem.Unit.HOURS,
            "maintenance_confirmed": item.maintenance_steps,
            "operations_confirmed": item.operations_steps,
            "placard_placed": item.placard,
        }
        for name, wanted in asked.items():
            if not wanted:
                del self.fields[name]


class LastDayForm(forms.Form):
    """What the last day of a deferral depends on, from a form that is still being filled in."""

    recorded_on = forms.DateField(required=False)

    def last_day(self, item: MelItem) -> dt.date | None:
        """The last day by the calendar; None where it can't be told, or the item counts hours or flights."""
        self.full_clean()
        recorded = self.cleaned_data.get("recorded_on")
        if recorded is None or item.stated_unit not in ("", MelItem.Unit.DAYS):
            return None
        try:
            stated = item.stated if item.stated_unit else None
            return deferral_expiry(item.category, recorded, stated_days=stated)
        except OverflowError:
            return None


class ExtendForm(PasswordForm):
    """An extension that is asked for."""

    expires_on = forms.DateField(
        label="New last day",
        widget=DAY,
        error_messages={"required": "Give the day through which it is to hold."},
    )
    justification = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Why it could not be rectified in time. It stays on record.",
        error_messages={"required": "Give the justification: it stays on record."},
    )
    field_order = ("expires_on", "justification", "password")


class AnswerForm(PasswordForm):
    """The answer to an extension."""

    approved = forms.TypedChoiceField(
        label="Answer",
        choices=YES_NO,
        coerce=lambda text: text == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one of the two."},
    )
    text = forms.CharField(
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Give the reason: it stays on record."},
    )
    field_order = ("approved", "text", "password")


class RectifyForm(PasswordForm):
    """What was done, the retest that supports it, and the release certificate of work done outside."""

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
    organisation = forms.CharField(
        label="Work done outside: organisation",
        required=False,
        max_length=120,
        help_text="Only where another organisation did the work; then its release certificate too.",
    )
    certificate_number = forms.CharField(
        label="Number of its release certificate", required=False, max_length=60
    )
    released_on = forms.DateField(label="Date of the certificate", required=False, widget=DAY)
    file = forms.FileField(
        label="The certificate", required=False, help_text="PDF, PNG or JPEG, at most 5 MB."
    )
    field_order = (
        "text",
        "retest",
        "without_retest",
        "organisation",
        "certificate_number",
        "released_on",
        "file",
        "password",
    )

    def __init__(self, *args: object, retests: Iterable[CheckEvent], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.by_key = {str(event.pk): event for event in retests}
        self.fields["retest"].choices = [
            *((key, words_of(event)) for key, event in self.by_key.items()),
            ("", "none"),
        ]

    def clean_retest(self) -> CheckEvent | None:
        return self.by_key.get(self.cleaned_data["retest"])

    def clean_file(self) -> object:
        upload = self.cleaned_data["file"]
        return certificates.checked(upload) if upload else None

    def clean(self) -> dict[str, object]:
        """All of the certificate or nothing of it; `outside` for the service."""
        given = self.cleaned_data
        parts = {
            name: given.pop(name, None) for name in ("organisation", "certificate_number", "released_on")
        }
        file = given.pop("file", None)
        given["outside"] = None
        if not any(parts.values()) and not file:
            return given
        for name, value in parts.items():
            if not value and name not in self.errors:
                self.add_error(
                    name, ValidationError("Work done outside needs it: give it, or empty the rest.")
                )
        if all(parts.values()):
            given["outside"] = OutsideWork(**parts, file=file)
        return given


def words_of(event: CheckEvent) -> str:
    """A retest as the form offers it."""
    outcome = event.get_outcome_display() or "no outcome on the paper record"
    return f"{event.work_date:%d %b %Y}: {event.revision.procedure.title}, {outcome}"
