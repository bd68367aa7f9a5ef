"""The operator and its bases."""

from django.contrib import admin
from django.http import HttpRequest

from fleet.admin.base import MasterAdmin
from fleet.models import Base, Operator


@admin.register(Operator)
class OperatorAdmin(MasterAdmin):
    """One row: added once, then changed."""

    list_display = ["name", "deferral_time_zone", "inspection_records", "due_soon_days"]
    fieldsets = [
        (None, {"fields": ["name", "deferral_time_zone"]}),
        ("Records on paper", {"fields": ["inspection_records"]}),
        (
            "Rules of the operator",
            {
                "fields": [
                    "too_low_share",
                    "entry_sds",
                    "purges_before_escalation",
                    "due_soon_days",
                    "dry_days",
                    "repeat_defect_days",
                    "stale_use_days",
                ]
            },
        ),
    ]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return super().has_add_permission(request) and not Operator.objects.exists()

    def has_delete_permission(self, request: HttpRequest, obj: Operator | None = None) -> bool:
        return False


@admin.register(Base)
class BaseAdmin(MasterAdmin):
    list_display = ["name", "code", "time_zone", "hemisphere", "season_date"]
    list_filter = ["hemisphere"]
    search_fields = ["name", "code"]

    @admin.display(description="season date (day/month)", ordering="season_month")
    def season_date(self, base: Base) -> str:
        return f"{base.season_day}/{base.season_month}"
