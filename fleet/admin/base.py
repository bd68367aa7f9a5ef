"""What all set-up pages share: nothing that is used is deleted, history is read and never edited."""

from typing import Any

from django.contrib import admin
from django.db.models import Exists, Model, OuterRef, Q, QuerySet
from django.http import HttpRequest


def _relations(model: type[Model]) -> list[Any]:
    """Every foreign key that points to the model, those without an accessor and link tables included."""
    return [
        field
        for field in model._meta.get_fields(include_hidden=True)
        if field.auto_created and not field.concrete and (field.one_to_many or field.one_to_one)
    ]


def with_use(queryset: QuerySet) -> QuerySet:
    """Adds `used`: whether any row anywhere names it. No further query."""
    found = Q(pk__in=[])
    for relation in _relations(queryset.model):
        named = relation.related_model._base_manager.filter(**{relation.field.name: OuterRef("pk")})
        found |= Q(Exists(named))
    return queryset.annotate(used=found)


def is_used(row: Model) -> bool:
    """Whether any row anywhere names this one: then it stays. One query."""
    return with_use(type(row)._base_manager.filter(pk=row.pk)).values_list("used", flat=True).get()


class MasterAdmin(admin.ModelAdmin):
    """Master data: changed, and deleted only while nothing uses it."""

    save_on_top = True
    list_per_page = 50
    list_select_related = True

    class Media:
        css = {"all": ["fleet/master-data.css"]}

    def get_actions(self, request: HttpRequest) -> dict:
        actions = super().get_actions(request)
        actions.pop("delete_selected", None)  # many at once would pass by the question whether each is used
        return actions

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return super().has_delete_permission(request, obj) and obj is not None and not is_used(obj)


class ReadOnly:
    """Looked at, never added, changed or deleted here. `opens` is the permission to look."""

    opens = "checks.view_records"
    actions = None
    can_delete = False
    extra = 0

    def has_view_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return request.user.has_perm(self.opens)

    def has_module_permission(self, request: HttpRequest) -> bool:
        return request.user.has_perm(self.opens)

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return False


class ReadOnlyAdmin(ReadOnly, admin.ModelAdmin):
    list_per_page = 50
    list_select_related = True


class ReadOnlyInline(ReadOnly, admin.TabularInline):
    """A table of rows; `related` are the fields whose rows are fetched with them."""

    related: tuple[str, ...] = ()

    def get_queryset(self, request: HttpRequest) -> QuerySet:
        rows = super().get_queryset(request)
        return rows.select_related(*self.related) if self.related else rows
