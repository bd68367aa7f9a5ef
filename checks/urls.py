"""Addresses of the checks pages."""

from django.urls import URLPattern, URLResolver, path

from checks.views import due, instruments, utilisation

app_name = "checks"
urlpatterns: list[URLPattern | URLResolver] = [
    path("due/", due.due_list, name="due_list"),
    path("due/<int:pk>/", due.due_point, name="due_point"),
    path("utilisation/", utilisation.utilisation, name="utilisation"),
    path("utilisation/<str:registration>/", utilisation.utilisation_enter, name="utilisation_enter"),
    path(
        "utilisation/<str:registration>/correct/<int:pk>/",
        utilisation.utilisation_correct,
        name="utilisation_correct",
    ),
    path("instruments/", instruments.instruments, name="instruments"),
    path("instruments/certificates/<int:pk>/", instruments.certificate, name="certificate"),
    path("instruments/<slug:code>/", instruments.instrument_detail, name="instrument_detail"),
]
