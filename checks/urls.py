"""Addresses of the checks pages."""

from django.urls import URLPattern, URLResolver, path

from checks.views import (
    check_correct,
    check_decide,
    check_edit,
    check_new,
    check_records,
    check_sign,
    due,
    instruments,
    utilisation,
)

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
    path("records/", check_records.records, name="records"),
    path("checks/new/", check_new.new, name="new"),
    path("checks/<uuid:uuid>/", check_edit.check, name="check"),
    path("checks/<uuid:uuid>/outcome/", check_edit.check_outcome, name="check_outcome"),
    path("checks/<uuid:uuid>/sign/", check_sign.check_sign, name="check_sign"),
    path("checks/<uuid:uuid>/inspect/", check_sign.check_inspect, name="check_inspect"),
    path("checks/<uuid:uuid>/release/", check_sign.check_release, name="check_release"),
    path("checks/<uuid:uuid>/decide/", check_decide.check_decide, name="check_decide"),
    path("checks/<uuid:uuid>/correct/", check_correct.check_correct, name="check_correct"),
]
