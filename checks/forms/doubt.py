"""Forms of an instrument found out of calibration: the report, and the review of what it touched."""

from collections.abc import Iterable
from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError

from checks.engine.units import parse_decimal
from checks.forms.check_sign import PasswordForm
from checks.forms.defects import DAY
from checks.models import CheckEvent, InstrumentFinding
from checks.selectors.doubt import Doubt

ERROR = InstrumentFinding._meta.get_field("error")


class FindingForm(PasswordForm):
    """The day, the error as found or that it is not known, and how it was found."""

    found_on = forms.DateField(
        label="Day found",
        widget=DAY,
        help_text="Checks from its last good calibration to this day are in doubt.",
        error_messages={"required": "Give the day on which it was found."},
    )
    error = forms.CharField(
        label="Error found",
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )
    not_known = forms.BooleanField(
        label="The error is not known: every check that it touched counts as if it would change",
        required=False,
    )
    text = forms.CharField(
        label="How it was found",
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Say how it was found: it stays on record."},
    )
    replaces = forms.ModelChoiceField(
        label="It takes the place of",
        queryset=InstrumentFinding.objects.none(),
        required=False,
        empty_label="none: a finding of its own",
        help_text="Where an earlier one said less. Reviews given on that one fall with it.",
    )
    field_order = ("found_on", "error", "not_known", "text", "replaces", "password")

    def __init__(
        self, *args: object, unit: str, earlier: Iterable[InstrumentFinding], **kwargs: object
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields[
            "error"
        ].help_text = f"In {unit}: +4 where it reads 4 too high, -4 where it reads 4 too low."
        keys = [finding.pk for finding in earlier]
        if not keys:
            del self.fields["replaces"]
            return
        known = InstrumentFinding.objects.filter(pk__in=keys).select_related("instrument")
        self.fields["replaces"].queryset = known

    def clean_error(self) -> Decimal | None:
        text = self.cleaned_data["error"]
        if not text.strip():
            return None
        try:
            return ERROR.clean(parse_decimal(text), None)
        except ValueError as error:
            raise ValidationError(f"{error}.".capitalize()) from None

    def clean(self) -> dict:
        given = super().clean()
        not_known = given.pop("not_known", False)
        if "error" not in given:
            return given
        if given["error"] is None and not not_known:
            self.add_error("error", "Give the error found, or mark below that it is not known.")
        elif given["error"] is not None and not_known:
            self.add_error("error", "An error is given and marked as not known. Keep one of the two.")
        return given


class ReviewForm(PasswordForm):
    """Which checks in doubt are decided on, whether they stand, and why."""

    events = forms.MultipleChoiceField(
        label="Checks",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one check."},
    )
    accepted = forms.TypedChoiceField(
        label="Decision",
        choices=(
            ("yes", "They stand as signed"),
            ("no", "They are to be repeated, and count as done no longer"),
        ),
        coerce=lambda text: text == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one of the two."},
    )
    text = forms.CharField(
        label="Reason",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="What shows it: tested again with another gauge, room left to the limit.",
        error_messages={"required": "Give the reason: it stays on record."},
    )
    field_order = ("events", "accepted", "text", "password")

    def __init__(self, *args: object, doubts: Iterable[Doubt], **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.by_key = {str(doubt.event.pk): doubt for doubt in doubts}
        self.fields["events"].choices = [(key, words_of(doubt)) for key, doubt in self.by_key.items()]

    def clean_events(self) -> list[CheckEvent]:
        return [self.by_key[key].event for key in self.cleaned_data["events"]]


def words_of(doubt: Doubt) -> str:
    """A check as the review offers it."""
    event = doubt.event
    would = "no change" if not doubt.would_change else f"would be {doubt.outcome}"
    if doubt.corrected is None:
        would = "the error is not known"
    return (
        f"{event.aircraft}, {event.revision.procedure.title}, {event.work_date:%d %b %Y}: "
        f"{event.outcome}, {would}"
    )
