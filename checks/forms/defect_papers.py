"""Forms of what stands beside a defect: parts on order and ferry permits."""

from django import forms

from checks.forms.check_sign import PasswordForm
from checks.forms.defect_acts import DAY
from checks.models import Defect, PartOrder


class PartOrderForm(forms.Form):
    """A part on order, or a change of one."""

    replaces = forms.ModelChoiceField(
        label="Changes the entry",
        queryset=PartOrder.objects.none(),
        required=False,
        empty_label="none: a new order",
    )
    what = forms.CharField(label="Part", max_length=120, error_messages={"required": "Say what is ordered."})
    reference = forms.CharField(
        label="Number of the order",
        max_length=60,
        error_messages={"required": "Give the number of the order."},
    )
    expected_on = forms.DateField(
        label="Expected", widget=DAY, error_messages={"required": "Give the day on which it is expected."}
    )
    arrived_on = forms.DateField(label="Arrived", required=False, widget=DAY)

    def __init__(self, *args: object, defect: Defect, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)
        self.fields["replaces"].queryset = defect.part_orders.standing()


class FerryPermitForm(PasswordForm):
    """A permit as it was granted by others."""

    number = forms.CharField(
        label="Number of the permit", max_length=60, error_messages={"required": "Give its number."}
    )
    issuer = forms.CharField(
        label="Issued by",
        max_length=120,
        help_text="The authority, or who issues for it.",
        error_messages={"required": "Say who issued it."},
    )
    valid_from = forms.DateField(widget=DAY, error_messages={"required": "Give its first day."})
    valid_until = forms.DateField(widget=DAY, error_messages={"required": "Give its last day."})
    conditions = forms.CharField(
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="As the permit states them.",
        error_messages={"required": "Write its conditions."},
    )
    field_order = ("number", "issuer", "valid_from", "valid_until", "conditions", "password")
