"""Variants with their positions and measuring points; a point's page holds its reference rows."""

from django.contrib import admin
from django.db.models import Count, QuerySet
from django.http import HttpRequest

from fleet.admin.base import MasterAdmin
from fleet.models import MeasuringPoint, Position, ReferenceRow, Variant


class PositionInline(admin.TabularInline):
    model = Position
    fields = ["order", "code", "name", "kind", "plan_x", "plan_y", "plan_width", "plan_height"]
    extra = 0
    can_delete = False
    show_change_link = True


class PointInline(admin.TabularInline):
    """The link at each row leads to the point's reference rows."""

    model = MeasuringPoint
    fields = ["order", "code", "name", "kind", "quantity", "position", "nominal"]
    autocomplete_fields = ["position"]
    extra = 0
    can_delete = False
    show_change_link = True


class ReferenceRowInline(admin.TabularInline):
    """Frozen once the point was read: changed rows would show drift where there is none."""

    model = ReferenceRow
    extra = 0

    def has_add_permission(self, request: HttpRequest, obj: MeasuringPoint | None = None) -> bool:
        return super().has_add_permission(request, obj) and not was_read(obj)

    def has_change_permission(self, request: HttpRequest, obj: MeasuringPoint | None = None) -> bool:
        return super().has_change_permission(request, obj) and not was_read(obj)

    def has_delete_permission(self, request: HttpRequest, obj: MeasuringPoint | None = None) -> bool:
        return super().has_delete_permission(request, obj) and not was_read(obj)


def was_read(point: MeasuringPoint | None) -> bool:
    """Whether any check has a reading of it. One query."""
    return point is not None and point.readings.exists()


@admin.register(Variant)
class VariantAdmin(MasterAdmin):
    list_display = ["name", "code", "has_panel_ports", "position_count", "point_count"]
    list_filter = ["has_panel_ports"]
    search_fields = ["name", "code"]
    inlines = [PositionInline, PointInline]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Variant]:
        return (
            super()
            .get_queryset(request)
            .annotate(
                position_count=Count("positions", distinct=True), point_count=Count("points", distinct=True)
            )
        )

    @admin.display(description="positions")
    def position_count(self, variant: Variant) -> int:
        return variant.position_count

    @admin.display(description="measuring points")
    def point_count(self, variant: Variant) -> int:
        return variant.point_count


@admin.register(Position)
class PositionAdmin(MasterAdmin):
    list_display = ["name", "code", "variant", "kind", "order"]
    list_filter = ["variant", "kind"]
    search_fields = ["name", "code", "variant__name"]
    autocomplete_fields = ["variant", "resets"]


@admin.register(MeasuringPoint)
class MeasuringPointAdmin(MasterAdmin):
    list_display = ["name", "code", "variant", "kind", "quantity", "nominal", "rows"]
    list_filter = ["variant", "kind", "quantity"]
    search_fields = ["name", "code", "variant__name"]
    autocomplete_fields = ["variant", "position"]
    list_select_related = ["variant"]
    inlines = [ReferenceRowInline]

    def get_readonly_fields(self, request: HttpRequest, obj: MeasuringPoint | None = None) -> list[str]:
        return ["variant", "kind", "quantity"] if was_read(obj) else []

    def get_queryset(self, request: HttpRequest) -> QuerySet[MeasuringPoint]:
        return super().get_queryset(request).annotate(row_count=Count("reference_rows"))

    @admin.display(description="reference rows", ordering="row_count")
    def rows(self, point: MeasuringPoint) -> int:
        return point.row_count
