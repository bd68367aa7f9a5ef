"""The one place that names all three rooms."""

from django.contrib import admin
from django.contrib.auth.views import LogoutView
from django.urls import include, path

from fleet.views.health import health
from fleet.views.login import log_in
from fleet.views.password import own_password

urlpatterns = [
    path("", include("reports.urls")),
    path("", include("checks.urls")),
    path("login/", log_in, name="login"),
    path("logout/", LogoutView.as_view(), name="logout"),
    path("password/", own_password, name="own_password"),
    path("health/", health, name="health"),
    path("admin/", admin.site.urls),
]
