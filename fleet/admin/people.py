"""People with their roles and authorisations. Nobody widens what they may do themselves."""

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.db.models import Model
from django.http import HttpRequest

from fleet.admin.base import MasterAdmin
from fleet.models import Authorisation, User

FIELDSETS = (
    (None, {"fields": ("username", "password")}),
    ("Person", {"fields": ("first_name", "last_name", "email", "home_base")}),
    ("Certificate", {"fields": ("certificate_number", "certificate_kind")}),
    ("Role", {"fields": ("is_active", "groups")}),
    ("Dates", {"fields": ("last_login", "date_joined")}),
)
WHOLE_SITE = (("Whole site", {"fields": ("is_staff", "is_superuser", "user_permissions")}),)


class AuthorisationInline(admin.TabularInline):
    model = Authorisation
    fields = ["act", "reference", "valid_from", "valid_until", "variants"]
    autocomplete_fields = ["variants"]
    extra = 0
    can_delete = False

    def has_add_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return super().has_add_permission(request, obj) and not is_self(request, obj)

    def has_change_permission(self, request: HttpRequest, obj: Model | None = None) -> bool:
        return super().has_change_permission(request, obj) and not is_self(request, obj)


def is_self(request: HttpRequest, person: Model | None) -> bool:
    return person is not None and person.pk == request.user.pk and not request.user.is_superuser


@admin.register(User)
class PersonAdmin(MasterAdmin, UserAdmin):
    """Marks of the whole site are for the administrator's eyes; roles and authorisations for the director."""

    list_display = ["username", "first_name", "last_name", "roles", "home_base", "certificate", "is_active"]
    list_filter = ["is_active", "groups", "home_base"]
    search_fields = ["username", "first_name", "last_name", "certificate_number"]
    list_select_related = ["home_base"]
    autocomplete_fields = ["home_base"]
    filter_horizontal = ["groups", "user_permissions"]
    inlines = [AuthorisationInline]

    def get_queryset(self, request: HttpRequest):
        return super().get_queryset(request).prefetch_related("groups")

    def get_fieldsets(self, request: HttpRequest, obj: User | None = None):
        if obj is None:
            return self.add_fieldsets
        return FIELDSETS + (WHOLE_SITE if request.user.is_superuser else ())

    def get_readonly_fields(self, request: HttpRequest, obj: User | None = None):
        fixed = ["last_login", "date_joined"]
        return [*fixed, "groups", "is_active"] if is_self(request, obj) else fixed

    def get_inlines(self, request: HttpRequest, obj: User | None = None):
        return [] if obj is None else self.inlines

    def has_change_permission(self, request: HttpRequest, obj: User | None = None) -> bool:
        allowed = super().has_change_permission(request, obj)
        # Whoever may change the administrator's password is the administrator.
        return allowed and (obj is None or not obj.is_superuser or request.user.is_superuser)

    @admin.display(description="roles")
    def roles(self, person: User) -> str:
        return ", ".join(group.name for group in person.groups.all()) or "none"

    @admin.display(description="certificate", ordering="certificate_number")
    def certificate(self, person: User) -> str:
        return f"{person.certificate_number} {person.certificate_kind}".strip()
