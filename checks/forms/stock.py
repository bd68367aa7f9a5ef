"""Forms of the stock pages and of planned moves. The services decide what may stand."""

from typing import Any

import django_filters
from django import forms
from django.db.models import QuerySet
from django.utils import timezone

from checks.models import StockItem, StockMovement
from fleet.models import Aircraft, Base, FluidBatch, Part, PlannedMove

DAY = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
THINGS = {"batch": FluidBatch, "item": StockItem, "part": Part}


def things() -> list[tuple[str, list[tuple[str, str]]]]:
    """What can be entered: batches, items, serialised parts, each as 'batch-7'. Three queries."""
    batches = FluidBatch.objects.select_related("base").order_by("expires_on", "code")
    parts = Part.objects.exclude(fitments__removed_on=None, fitments__isnull=False)
    return [
        ("Fluid, in litres", [(f"batch-{one.pk}", str(one)) for one in batches]),
        ("Items, in pieces", [(f"item-{one.pk}", str(one)) for one in StockItem.objects.all()]),
        (
            "Serialised parts not fitted",
            [(f"part-{one.pk}", str(one)) for one in parts.order_by("part_number")],
        ),
    ]


class MovementForm(forms.Form):
    """One entry in the stock. With `corrects`, in the place of another one: then the thing is fixed."""

    thing = forms.ChoiceField(label="What")
    kind = forms.ChoiceField(choices=StockMovement.Kind, label="What happened")
    quantity = forms.DecimalField(
        label="How much",
        max_digits=8,
        decimal_places=1,
        min_value=0,
        help_text="Litres of fluid, or pieces; of “counted”, all that is there.",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    on = forms.DateField(label="Date", widget=DAY)
    base = forms.ModelChoiceField(queryset=Base.objects.all(), empty_label="choose")
    to_base = forms.ModelChoiceField(
        queryset=Base.objects.all(), required=False, label="To base", help_text="Of a move only."
    )
    aircraft = forms.ModelChoiceField(
        queryset=Aircraft.objects.exclude(state=Aircraft.State.LEFT),
        required=False,
        to_field_name="registration",
        help_text="Of an item that was used: on which one. Its replacement interval counts from there.",
    )
    remark = forms.CharField(max_length=200, required=False)

    def __init__(self, *args: Any, corrects: StockMovement | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["thing"].choices = [("", "choose"), *things()]
        if corrects:
            del self.fields["thing"]
            self.fields["remark"].required = True
            self.fields["remark"].label = "Reason for the correction"
            self.fields["quantity"].help_text = "0 takes the entry back."

    def clean_thing(self) -> FluidBatch | StockItem | Part:
        kind, _, key = self.cleaned_data["thing"].partition("-")
        return THINGS[kind].objects.get(pk=int(key))


class MixForm(forms.Form):
    """What the operator's source says of two kinds of fluid."""

    kind_a = forms.ChoiceField(label="Fluid")
    kind_b = forms.ChoiceField(label="With", help_text="The same kind, for two batches of it.")
    allowed = forms.TypedChoiceField(
        label="The source says",
        choices=[("", "choose"), ("yes", "they may be mixed"), ("no", "they are not to be mixed")],
        coerce=lambda value: value == "yes",
    )
    source_reference = forms.CharField(
        max_length=200, label="Source", help_text="Manual, data sheet or letter, with its date."
    )
    remark = forms.CharField(max_length=200, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = FluidBatch.objects.order_by("kind").values_list("kind", flat=True).distinct()
        for name in ("kind_a", "kind_b"):
            self.fields[name].choices = [("", "choose"), *((kind, kind) for kind in kinds)]


class StockFilter(django_filters.FilterSet):
    """Which entries to list: base, kind, and whether corrected ones are shown."""

    base = django_filters.ModelChoiceFilter(queryset=Base.objects.all(), empty_label="every base")
    kind = django_filters.ChoiceFilter(choices=StockMovement.Kind, empty_label="every kind")
    standing = django_filters.ChoiceFilter(
        method="as_standing",
        label="Corrected entries",
        choices=[("with", "shown too")],
        empty_label="left out",
    )

    class Meta:
        model = StockMovement
        fields: list[str] = []

    def as_standing(self, queryset: QuerySet, name: str, value: str) -> QuerySet:
        return queryset

    def filter_queryset(self, queryset: QuerySet) -> QuerySet:
        found = super().filter_queryset(queryset)
        return found if self.form.cleaned_data["standing"] else found.filter(corrected_by=None)


class MoveForm(forms.ModelForm):
    """A planned change of base."""

    class Meta:
        model = PlannedMove
        fields = ["aircraft", "base", "on", "remark"]
        widgets = {"on": DAY}
        labels = {"base": "To base"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        flying = Aircraft.objects.exclude(state=Aircraft.State.LEFT).select_related("base")
        self.fields["aircraft"] = forms.ModelChoiceField(
            queryset=flying, to_field_name="registration", empty_label="choose"
        )
        self.fields["aircraft"].label_from_instance = lambda one: f"{one.registration} ({one.base})"
        self.fields["on"].initial = timezone.localdate()

    def _post_clean(self) -> None:
        """The service checks the whole row; here the fields alone are read."""
