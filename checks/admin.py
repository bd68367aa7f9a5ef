"""Set-up of procedures and programme; signed history to look at. Approving is done on a page of its own."""

from typing import Any

from django import forms
from django.contrib import admin
from django.db.models import Field, Model, QuerySet
from django.http import HttpRequest
from django.utils.text import capfirst

from checks import models
from checks.engine.units import QUANTITIES, UNITS
from checks.services.due import refresh_due
from fleet.admin.aircraft import AircraftAdmin
from fleet.admin.base import MasterAdmin, ReadOnlyAdmin, ReadOnlyInline
from fleet.admin.instruments import InstrumentAdmin
from fleet.admin.operator import BaseAdmin
from fleet.models import Aircraft, Base, Instrument, Position

NO_APPROVAL = "Approving is not done here: another person approves the revision on its own page."

CHOICES = {
    "unit": [(code, f"{unit.label} ({unit.quantity})") for code, unit in UNITS.items()],
    "quantity": [(quantity, quantity) for quantity in QUANTITIES],
    "position_kind": Position.Kind.choices,
    "instrument_kind": Instrument.Kind.choices,
}


class CountsDue:
    """What due points rest on: they are counted anew in the transaction of the change."""

    def aircraft_of(self, obj: Model) -> QuerySet[Aircraft]:
        raise NotImplementedError

    def save_related(self, request: HttpRequest, form: Any, formsets: Any, change: bool) -> None:
        super().save_related(request, form, formsets, change)
        refresh_due(aircraft_ids=self.aircraft_of(form.instance).values_list("pk", flat=True))


class DraftOnly:
    """Open to change while the revision is not approved, and only for the person who types it: somebody
    who typed a part of it could otherwise approve it."""

    def revision_of(self, obj: Model | None) -> models.Revision | None:
        return obj if isinstance(obj, models.Revision) else getattr(obj, "revision", None)

    def is_open(self, request: HttpRequest, obj: Model | None) -> bool:
        revision = self.revision_of(obj)
        if revision is None:
            return True
        return revision.approved_at is None and revision.typed_by_id == request.user.pk

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        args = (request, obj) if isinstance(self, admin.options.InlineModelAdmin) else (request,)
        return super().has_add_permission(*args) and self.is_open(request, obj)

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return super().has_change_permission(request, obj) and self.is_open(request, obj)

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return super().has_delete_permission(request, obj) and self.is_open(request, obj)


class Chosen:
    """Words that the engine knows are chosen, not typed: units, quantities, kinds."""

    def formfield_for_dbfield(self, db_field: Field, request: HttpRequest, **kwargs: Any) -> Any:
        words = CHOICES.get(db_field.name)
        if words is None or db_field.choices:
            return super().formfield_for_dbfield(db_field, request, **kwargs)
        return forms.ChoiceField(
            choices=[("", "---------"), *words],
            required=not db_field.blank,
            label=capfirst(db_field.verbose_name),
            help_text=db_field.help_text,
        )


class StepInline(Chosen, DraftOnly, admin.StackedInline):
    model = models.Step
    extra = 0
    autocomplete_fields = ["point"]
    fieldsets = [
        (None, {"fields": [("number", "kind"), "text", "restore_text"]}),
        (
            "Observe, measure",
            {
                "classes": ["collapse"],
                "fields": [
                    "position_kind",
                    ("quantity", "unit", "point"),
                    "instrument_kind",
                    ("cadence_seconds", "ceiling", "ceiling_after_seconds"),
                    "duration_seconds",
                ],
            },
        ),
    ]


class LimitTableInline(Chosen, DraftOnly, admin.TabularInline):
    """The link at each table leads to its rows."""

    model = models.LimitTable
    extra = 0
    autocomplete_fields = ["point"]
    show_change_link = True


class LimitRowInline(DraftOnly, admin.TabularInline):
    model = models.LimitRow
    extra = 0


class PartNeededInline(admin.TabularInline):
    model = models.PartNeeded
    extra = 0


@admin.register(models.Preparation)
class PreparationAdmin(MasterAdmin):
    """Access and equipment that tasks share: what work packages save."""

    list_display = ["name", "kind", "minutes"]
    list_filter = ["kind"]
    search_fields = ["name"]
    filter_horizontal = ["procedures"]


@admin.register(models.StockItem)
class StockItemAdmin(MasterAdmin):
    list_display = ["part_number", "name", "kind", "replace_months", "replace_hours", "least"]
    list_filter = ["kind"]
    search_fields = ["part_number", "name"]
    autocomplete_fields = ["variants"]


@admin.register(models.Procedure)
class ProcedureAdmin(MasterAdmin):
    list_display = ["title", "code", "variant", "kind", "jasc", "is_inspection", "needs_inspection"]
    list_filter = ["variant", "kind", "is_inspection", "needs_inspection"]
    search_fields = ["title", "code", "variant__name"]
    autocomplete_fields = ["variant"]
    list_select_related = ["variant"]
    inlines = [PartNeededInline]


@admin.register(models.Revision)
class RevisionAdmin(DraftOnly, MasterAdmin):
    list_display = ["procedure", "number", "effective_on", "typed_by", "approved_by", "approved_at"]
    list_filter = [("approved_at", admin.EmptyFieldListFilter), "procedure__variant"]
    search_fields = ["procedure__title", "procedure__code", "number", "source_reference"]
    autocomplete_fields = ["procedure"]
    date_hierarchy = "effective_on"
    list_select_related = ["procedure__variant", "typed_by", "approved_by"]
    readonly_fields = ["typed_by", "typed_at", "approved_by", "approved_at"]
    fieldsets = [
        (None, {"fields": ["procedure", "number", "source_reference", "effective_on"]}),
        (
            "Typed and approved",
            {
                "description": NO_APPROVAL,
                "fields": [("typed_by", "typed_at"), ("approved_by", "approved_at")],
            },
        ),
    ]
    inlines = [StepInline, LimitTableInline]

    def save_model(self, request: HttpRequest, obj: models.Revision, form: object, change: bool) -> None:
        if not change:
            obj.typed_by = request.user
        super().save_model(request, obj, form, change)


@admin.register(models.LimitTable)
class LimitTableAdmin(Chosen, DraftOnly, MasterAdmin):
    list_display = ["revision", "point", "kind", "unit", "reading_rule", "source_reference"]
    list_filter = ["kind", "reading_rule", "point__quantity", "point__variant"]
    search_fields = ["revision__procedure__title", "revision__number", "point__name", "source_reference"]
    autocomplete_fields = ["point"]
    list_select_related = ["revision__procedure", "point"]
    inlines = [LimitRowInline]

    def formfield_for_foreignkey(self, db_field, request: HttpRequest, **kwargs):
        if db_field.name == "revision":  # a table is typed into a draft of one's own
            kwargs["queryset"] = models.Revision.objects.filter(
                approved_at=None, typed_by=request.user
            ).select_related("procedure")
        return super().formfield_for_foreignkey(db_field, request, **kwargs)


@admin.register(models.RecurringCheck)
class RecurringCheckAdmin(ReadOnlyAdmin):
    """To look at: the programme's own pages type it, and another person approves."""

    list_display = [
        "title",
        "procedure",
        "interval_days",
        "interval_months",
        "interval_hours",
        "interval_landings",
        "before_season",
        "counting",
        "active",
    ]
    list_filter = ["active", "once", "before_season", "counting", "procedure__variant"]
    search_fields = ["title", "procedure__title", "procedure__code"]
    list_select_related = ["procedure__variant"]


def looked_at(model: type[Model], *fields: str) -> type[ReadOnlyInline]:
    """A read-only table of rows of the model, in the model's order, in one query."""
    related = tuple(name for name in fields if model._meta.get_field(name).is_relation)
    named = {"model": model, "fields": fields, "readonly_fields": fields, "related": related}
    return type(f"{model.__name__}Inline", (ReadOnlyInline,), named)


admin.site.unregister(
    [Aircraft, Base, Instrument]
)  # the registry's own pages, and what follows for the due list


@admin.register(Aircraft)
class DueAircraftAdmin(CountsDue, AircraftAdmin):
    def aircraft_of(self, obj: Aircraft) -> QuerySet[Aircraft]:
        return Aircraft.objects.filter(pk=obj.pk)


@admin.register(Base)
class DueBaseAdmin(CountsDue, BaseAdmin):
    def aircraft_of(self, obj: Base) -> QuerySet[Aircraft]:
        return obj.aircraft.all()


@admin.register(Instrument)
class UnitInstrumentAdmin(Chosen, InstrumentAdmin):
    """With the units that the engine knows."""


@admin.register(models.CheckEvent)
class CheckEventAdmin(ReadOnlyAdmin):
    list_display = ["aircraft", "revision", "work_date", "state", "source", "outcome", "base"]
    list_filter = ["state", "source", "outcome", "base"]
    search_fields = ["aircraft__registration", "revision__procedure__title", "uuid"]
    date_hierarchy = "work_date"
    list_select_related = ["aircraft", "revision__procedure", "base"]
    inlines = [
        looked_at(models.Signature, "act", "name", "certificate_number", "authorisation", "signed_at"),
        looked_at(models.Result, "point", "value", "temperature", "lower", "upper", "outcome", "reason"),
        looked_at(
            models.Reading,
            "step",
            "point",
            "role",
            "typed",
            "unit",
            "value",
            "instrument",
            "calibration",
            "mark",
        ),
        looked_at(models.Observation, "step", "position", "satisfactory", "remark"),
        looked_at(models.CautionFollowed, "step", "restored", "acknowledged_at"),
        looked_at(models.Reset, "point", "why"),
    ]

    def get_queryset(self, request: HttpRequest) -> QuerySet[models.CheckEvent]:
        return super().get_queryset(request).select_related("aircraft", "revision__procedure")


@admin.register(models.Record)
class RecordAdmin(ReadOnlyAdmin):
    list_display = ["reference", "act", "form", "written_at", "hash"]
    list_filter = ["act"]
    search_fields = ["hash", "chain__aircraft__registration"]
    date_hierarchy = "written_at"
    list_select_related = ["chain__aircraft"]


@admin.register(models.Signature)
class SignatureAdmin(ReadOnlyAdmin):
    list_display = ["event", "act", "name", "certificate_number", "signed_at"]
    list_filter = ["act"]
    search_fields = ["name", "certificate_number", "event__aircraft__registration"]
    date_hierarchy = "signed_at"
    list_select_related = ["event__aircraft", "event__revision__procedure"]


@admin.register(models.Defect)
class DefectAdmin(ReadOnlyAdmin):
    list_display = ["aircraft", "description", "position", "raised_by", "raised_at"]
    search_fields = ["aircraft__registration", "description"]
    date_hierarchy = "raised_at"
    list_select_related = ["aircraft", "position", "raised_by"]
    inlines = [
        looked_at(models.Deferral, "mel_item", "category", "recorded_on", "expires_on", "limitation"),
        looked_at(models.Rectification, "text", "rectified_by", "rectified_at"),
    ]


@admin.register(models.ImportBatch)
class ImportBatchAdmin(ReadOnlyAdmin):
    list_display = ["file_name", "kind", "rows_added", "imported_by", "accepted_by", "imported_at"]
    list_filter = ["kind"]
    search_fields = ["file_name", "sha256"]
    date_hierarchy = "imported_at"
    list_select_related = ["imported_by", "accepted_by"]
