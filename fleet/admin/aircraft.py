"""Aircraft with what is fitted, parts, utilisation to look at, and fluid batches."""

from itertools import combinations

from django import forms
from django.contrib import admin
from django.core.exceptions import ValidationError
from django.forms import BaseInlineFormSet
from django.http import HttpRequest

from fleet.admin.base import MasterAdmin, ReadOnlyAdmin
from fleet.models import Aircraft, Embodiment, Fitment, FluidBatch, Modification, Part, UtilisationEntry


class FitmentFormSet(BaseInlineFormSet):
    """Also compares the rows of the page with each other: none of them is in the database yet."""

    def clean(self) -> None:
        super().clean()
        rows = [form.instance for form in self.forms if form.is_valid() and form.instance.fitted_on]
        for one, other in combinations(rows, 2):
            if meet(one, other):
                raise ValidationError(f"“{one}” and “{other}” meet: end the earlier one first.")


def meet(one: Fitment, other: Fitment) -> bool:
    """Whether two fitments claim one position, or one part, on the same day."""
    same_position = (one.aircraft_id, one.position_id) == (other.aircraft_id, other.position_id)
    if not same_position and one.part_id != other.part_id:
        return False
    if one.removed_on == one.fitted_on or other.removed_on == other.fitted_on:
        return False
    return (one.removed_on is None or other.fitted_on < one.removed_on) and (
        other.removed_on is None or one.fitted_on < other.removed_on
    )


class FitmentInline(admin.TabularInline):
    """A removed part keeps its row; a new part gets a row of its own."""

    model = Fitment
    formset = FitmentFormSet
    fields = [
        "position",
        "part",
        "fitted_on",
        "fitted_hours",
        "removed_on",
        "removed_hours",
        "removal_reason",
        "removed_as_planned",
    ]
    extra = 0
    can_delete = False
    ordering = ["position__order", "-fitted_on"]

    def get_queryset(self, request):
        return super().get_queryset(request).select_related("part", "position", "aircraft")


class AircraftFitmentInline(FitmentInline):
    autocomplete_fields = ["position", "part"]


class EmbodimentInline(admin.TabularInline):
    """Which modifications are embodied; one taken out again keeps its row."""

    model = Embodiment
    extra = 0
    can_delete = False
    autocomplete_fields = ["modification"]
    ordering = ["modification", "embodied_on"]

    def get_queryset(self, request):
        return super().get_queryset(request).select_related("modification", "aircraft")


class PartFitmentInline(FitmentInline):
    fields = ["aircraft", *FitmentInline.fields[:1], *FitmentInline.fields[2:]]
    autocomplete_fields = ["aircraft", "position"]
    ordering = ["-fitted_on"]


class AircraftForm(forms.ModelForm):
    """A change of state is dated."""

    def clean(self) -> dict:
        given = super().clean()
        moved = self.instance.pk and "state" in self.changed_data
        if moved and (not given.get("state_since") or "state_since" not in self.changed_data):
            self.add_error("state_since", "The state changed: give the day on which it did.")
        return given


@admin.register(Aircraft)
class AircraftAdmin(MasterAdmin):
    form = AircraftForm
    list_display = ["registration", "serial_number", "type_name", "variant", "base", "state"]
    list_filter = ["state", "base", "variant"]
    search_fields = ["registration", "serial_number"]
    autocomplete_fields = ["variant", "base"]
    list_select_related = ["variant", "base"]
    inlines = [AircraftFitmentInline, EmbodimentInline]

    def get_readonly_fields(self, request: HttpRequest, obj: Aircraft | None = None) -> list[str]:
        """The variant stays once parts or checks rest on its positions."""
        return ["variant"] if obj and (obj.fitments.exists() or obj.events.exists()) else []


@admin.register(Part)
class PartAdmin(MasterAdmin):
    list_display = ["part_number", "serial_number", "kind", "description"]
    list_filter = ["kind"]
    search_fields = ["part_number", "serial_number", "description"]
    inlines = [PartFitmentInline]


@admin.register(Modification)
class ModificationAdmin(MasterAdmin):
    """Where it is embodied is entered with each aircraft, and counts for the programme."""

    list_display = ["code", "title"]
    search_fields = ["code", "title"]


@admin.register(Fitment)
class FitmentAdmin(MasterAdmin):
    list_display = ["aircraft", "position", "part", "fitted_on", "removed_on", "removal_reason"]
    list_filter = [("removed_on", admin.EmptyFieldListFilter), "position__kind", "aircraft__base"]
    search_fields = ["aircraft__registration", "part__serial_number", "part__part_number"]
    autocomplete_fields = ["aircraft", "position", "part"]
    list_select_related = ["aircraft", "position", "part"]
    date_hierarchy = "fitted_on"


@admin.register(UtilisationEntry)
class UtilisationAdmin(ReadOnlyAdmin):
    """Entered and corrected on the utilisation page only, where due points follow."""

    list_display = ["aircraft", "on", "hours", "landings", "kind", "entered_by", "standing"]
    list_filter = ["kind", "aircraft__base"]
    search_fields = ["aircraft__registration", "source"]
    date_hierarchy = "on"
    list_select_related = ["aircraft", "entered_by", "superseded_by"]

    @admin.display(boolean=True, description="stands")
    def standing(self, entry: UtilisationEntry) -> bool:
        return not hasattr(entry, "superseded_by")


@admin.register(FluidBatch)
class FluidBatchAdmin(MasterAdmin):
    list_display = ["code", "kind", "base", "received_on", "expires_on", "litres"]
    list_filter = ["base", "kind"]
    search_fields = ["code", "kind"]
    autocomplete_fields = ["base"]
    date_hierarchy = "expires_on"

    def get_readonly_fields(self, request: HttpRequest, obj: FluidBatch | None = None) -> list[str]:
        """A delivery is the first entry of its stock: where it is wrong, what is there is counted."""
        return ["code", "base", "received_on", "litres"] if obj else []
