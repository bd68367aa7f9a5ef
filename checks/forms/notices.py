"""What a person wants to be told, and of which bases; a new calendar address."""

from django import forms

from checks.models import CalendarFeed, NoticeChoice
from fleet.models import Base


class NoticeForm(forms.ModelForm):
    """Kinds and bases; no base marked means every base."""

    bases = forms.ModelMultipleChoiceField(
        Base.objects.all(),
        label="Of these bases",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None marked: every base.",
    )

    class Meta:
        model = NoticeChoice
        fields = ["overdue", "due_soon", "deferrals", "defects", "packages", "bases"]


class FeedForm(forms.ModelForm):
    class Meta:
        model = CalendarFeed
        fields = ["base", "name"]
        labels = {"name": "Used where"}
