"""Addresses of the checks pages."""

from django.urls import URLPattern, URLResolver

app_name = "checks"
urlpatterns: list[URLPattern | URLResolver] = []
