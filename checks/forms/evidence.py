"""One file kept with a check: a photo of a step, or a scan of a paper original."""

from django import forms
from django.conf import settings

from checks.models import CheckEvent, Photo, Step
from checks.services.picture import MAX_BYTES

ACCEPTED = "image/jpeg,image/png,image/webp,application/pdf"
# What of the largest request is left for the other fields and the parts' own lines.
AROUND = 64 * 1024
REQUIRED = "Choose a picture, or a scan of a paper original."


class StepChoice(forms.ModelChoiceField):
    """Steps by number and the beginning of their text."""

    def label_from_instance(self, step: Step) -> str:
        words = step.text if len(step.text) <= 60 else f"{step.text[:59]}…"
        return f"Step {step.number}: {words}"


class PhotoForm(forms.Form):
    """The service looks into the file; the form only asks for one."""

    file = forms.FileField(
        label="Photo, or scan of a paper original",
        widget=forms.ClearableFileInput(attrs={"accept": ACCEPTED}),
        error_messages={"required": REQUIRED, "missing": REQUIRED, "empty": "The file is empty."},
    )
    step = StepChoice(Step.objects.none(), label="Of", required=False, empty_label="the whole check")
    kind = forms.ChoiceField(label="It is a", choices=Photo.Kind, initial=Photo.Kind.PHOTO)
    remark = forms.CharField(label="Remark", max_length=200, required=False)

    def __init__(self, event: CheckEvent, *args: object, **kwargs: object) -> None:
        super().__init__(*args, auto_id="photo-%s", **kwargs)
        most = min(MAX_BYTES, settings.MAX_BODY_BYTES - AROUND)
        self.fields["file"].widget.attrs["data-most"] = most  # a phone says it before it sends in vain
        self.fields["file"].help_text = (
            f"JPEG, PNG or WebP; a paper original also as PDF. At most {most / 1024 / 1024:.2g} MB. "
            "Pictures are made smaller, and the place where they were taken is removed."
        )
        self.fields["step"].queryset = event.revision.steps.order_by("number")
