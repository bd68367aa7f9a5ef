"""Instruments with their calibrations and certificate files."""

from django import forms
from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from fleet.admin.base import MasterAdmin, with_use
from fleet.certificates import checked
from fleet.models import Calibration, Instrument, Operator


class CalibrationForm(forms.ModelForm):
    """A calibration that a reading rests on keeps its figures; only its certificate file may be added."""

    class Meta:
        model = Calibration
        exclude: list[str] = []
        widgets = {"certificate_file": forms.FileInput(attrs={"accept": ".pdf,.png,.jpg,.jpeg"})}
        help_texts = {"certificate_file": "PDF, PNG or JPEG, at most 5 MB."}

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if getattr(self.instance, "used", False):
            for name, field in self.fields.items():
                field.disabled = name != "certificate_file" or bool(self.instance.certificate_file)

    def clean_certificate_file(self):
        upload = self.cleaned_data.get("certificate_file")
        return checked(upload) if "certificate_file" in self.changed_data and upload else upload


class CalibrationInline(admin.TabularInline):
    model = Calibration
    form = CalibrationForm
    fields = [
        "calibrated_on",
        "due_on",
        "result",
        "error_found",
        "laboratory",
        "certificate_number",
        "certificate_file",
        "kept_file",
    ]
    readonly_fields = ["kept_file"]
    extra = 0
    can_delete = False
    ordering = ["-calibrated_on"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Calibration]:
        return with_use(super().get_queryset(request).select_related("instrument"))

    @admin.display(description="file on record")
    def kept_file(self, calibration: Calibration) -> str:
        if not calibration.certificate_file:
            return "none"
        return format_html('<a href="{}">download</a>', reverse("checks:certificate", args=[calibration.pk]))


@admin.register(Instrument)
class InstrumentAdmin(MasterAdmin):
    list_display = ["code", "kind", "owner", "base", "calibration", "calibration_due", "in_use"]
    list_filter = ["in_use", "kind", "base", "owner"]
    search_fields = ["code", "serial_number", "owner", "description", "calibrations__certificate_number"]
    autocomplete_fields = ["base"]
    list_select_related = ["base"]
    inlines = [CalibrationInline]
    fieldsets = [
        (None, {"fields": ["code", "kind", "description", "owner", "serial_number", "base", "in_use"]}),
        (
            "What it reads",
            {
                "fields": [
                    "unit",
                    ("range_low", "range_high"),
                    "resolution",
                    ("accuracy", "accuracy_kind"),
                    "needs_calibration",
                ]
            },
        ),
    ]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Instrument]:
        soon = Operator.current().due_soon_days
        return super().get_queryset(request).with_calibration(timezone.localdate(), soon)

    @admin.display(ordering="calibration_state")
    def calibration(self, instrument: Instrument) -> str:
        return instrument.calibration_state

    @admin.display(ordering="calibration_due")
    def calibration_due(self, instrument: Instrument):
        return instrument.calibration_due
