"""Form of an item of the operator's MEL, and of its approval."""

from django import forms

from checks.models import MelItem


class MelItemForm(forms.ModelForm):
    """An item as it stands in the operator's approved MEL."""

    class Meta:
        model = MelItem
        fields = (
            "number",
            "title",
            "variant",
            "category",
            "stated",
            "stated_unit",
            "installed",
            "required",
            "maintenance_steps",
            "operations_steps",
            "placard",
            "limitation",
            "limits_icing",
            "source_revision",
        )
        widgets = {
            "category": forms.RadioSelect,
            "maintenance_steps": forms.Textarea(attrs={"rows": 4}),
            "operations_steps": forms.Textarea(attrs={"rows": 4}),
            "limitation": forms.Textarea(attrs={"rows": 3}),
            "stated": forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            "installed": forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            "required": forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        }

    def __init__(self, *args: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.fields["category"].choices = MelItem._meta.get_field("category").choices
        self.fields["variant"].empty_label = "every variant"

    def _post_clean(self) -> None:
        """The service makes the row whole and says what is wrong, for every way in alike."""
