"""The set-up site for master data: the same log-in as everywhere, and a plain refusal for other roles."""

from collections.abc import Callable
from functools import update_wrapper

from django.contrib.admin import AdminSite
from django.contrib.admin.apps import AdminConfig
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.utils.decorators import method_decorator

OPENS_IT = "fleet.view_variant"  # which every role has that may read master data


class MasterDataSite(AdminSite):
    """Django's admin, opened by the role and not by a mark on the person."""

    site_header = site_title = "Weepwatch master data"
    index_title = "Master data"
    enable_nav_sidebar = True

    def has_permission(self, request: HttpRequest) -> bool:
        user = request.user
        return user.is_active and (user.is_staff or user.has_perm(OPENS_IT))

    def admin_view(self, view: Callable, cacheable: bool = False) -> Callable:
        """Anonymous: the log-in page. Signed in without the permission: 403 with words."""
        inner = super().admin_view(view, cacheable)

        def opened(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
            if request.user.is_authenticated and not self.has_permission(request):
                raise PermissionDenied("Your role does not include master data. Nothing was changed.")
            return inner(request, *args, **kwargs)

        return update_wrapper(opened, inner)

    def get_urls(self) -> list:
        """Without the addresses that this site has no use for."""
        return [url for url in super().get_urls() if getattr(url, "name", None) != "view_on_site"]

    def password_change(self, request: HttpRequest, extra_context: dict | None = None) -> HttpResponse:
        """There is one page for it, with its bound on wrong tries."""
        from django.shortcuts import redirect

        return redirect("own_password")

    @method_decorator(login_not_required)
    def login(self, request: HttpRequest, extra_context: dict | None = None) -> HttpResponse:
        """There is one log-in page, with its lock-out; this address leads to it."""
        from django.contrib.auth.views import redirect_to_login  # needs the models, which are not there yet

        return redirect_to_login(request.GET.get("next", "/"))


class MasterDataConfig(AdminConfig):
    """Named in INSTALLED_APPS in place of Django's own."""

    default = False
    default_site = "fleet.admin_site.MasterDataSite"
