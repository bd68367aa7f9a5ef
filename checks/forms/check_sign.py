"""Forms of what is signed: a password typed again, and the words that a decision or a correction needs."""

from django import forms


class PasswordForm(forms.Form):
    """The person's own password, typed again for each signature."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={"required": "Type your own password: it is your signature."},
    )


class DecideForm(PasswordForm):
    """Whether a reading far under the baseline is taken as true, and why."""

    accepted = forms.TypedChoiceField(
        label="Decision",
        choices=(
            ("yes", "The reading is accepted as true"),
            ("no", "It is not accepted: the cause must be found"),
        ),
        coerce=lambda text: text == "yes",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one of the two."},
    )
    text = forms.CharField(
        label="Reason",
        widget=forms.Textarea,
        help_text="What shows it: pump seen running, another gauge, a new baseline after a change.",
        error_messages={"required": "Give the reason: it stays on record."},
    )
    field_order = ("accepted", "text", "password")


class CorrectForm(forms.Form):
    """Why a signed check is corrected."""

    reason = forms.CharField(
        label="Reason for the correction",
        widget=forms.Textarea,
        help_text="It stays on record with both entries.",
        error_messages={"required": "Say why it is corrected: both entries stay on record."},
    )
