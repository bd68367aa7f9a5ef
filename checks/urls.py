"""Addresses of the checks pages."""

from django.urls import URLPattern, URLResolver, path

from checks.views import (
    aircraft,
    check_correct,
    check_decide,
    check_edit,
    check_new,
    check_records,
    check_sign,
    defects,
    drift,
    due,
    icing,
    instruments,
    revisions,
    utilisation,
)

app_name = "checks"
urlpatterns: list[URLPattern | URLResolver] = [
    path("due/", due.due_list, name="due_list"),
    path("due/<int:pk>/", due.due_point, name="due_point"),
    path("drift/", drift.drift_ranking, name="drift_ranking"),
    path("drift/<int:pk>/", drift.drift_series, name="drift_series"),
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
    path("aircraft/", aircraft.aircraft_list, name="aircraft_list"),
    path("aircraft/<str:registration>/", aircraft.aircraft, name="aircraft"),
    path("icing/", icing.icing_status, name="icing_status"),
    path("defects/", defects.defects, name="defects"),
    path("defects/raise/", defects.defect_raise, name="defect_raise"),
    path("defects/<int:pk>/", defects.defect, name="defect"),
    path("defects/<int:pk>/defer/", defects.defect_defer, name="defect_defer"),
    path("defects/<int:pk>/rectify/", defects.defect_rectify, name="defect_rectify"),
    path("procedures/", revisions.procedures, name="procedures"),
    path("procedures/revisions/<int:pk>/", revisions.revision, name="revision"),
    path("procedures/revisions/<int:pk>/approve/", revisions.revision_approve, name="revision_approve"),
]
