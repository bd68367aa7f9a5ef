"""Addresses of the reports pages."""

from django.urls import URLPattern, URLResolver, path

from reports import label_views, list_views, pack_views, package_views, season_views, use_views, views
from reports.home_view import home

app_name = "reports"
urlpatterns: list[URLPattern | URLResolver] = [
    path("", home, name="home"),
    path("utilisation/sheet/file/", use_views.utilisation_file, name="utilisation_file"),
    path("reports/due.pdf", views.due_pdf, name="due_pdf"),
    path("reports/lists/<slug:name>.<slug:kind>", list_views.list_file, name="list_file"),
    path("reports/icing.pdf", views.icing_pdf, name="icing_pdf"),
    path("reports/drift.pdf", views.drift_pdf, name="drift_pdf"),
    path("reports/reliability.pdf", views.reliability_pdf, name="reliability_pdf"),
    path("reports/tracebacks/<int:pk>.pdf", views.traceback_pdf, name="traceback_pdf"),
    path("reports/season/<slug:code>.csv", season_views.season_csv, name="season_csv"),
    path("reports/season/<slug:code>.pdf", season_views.season_pdf, name="season_pdf"),
    path("reports/labels/<slug:kind>/", label_views.labels, name="labels"),
    path("reports/labels/<slug:kind>.pdf", label_views.labels_pdf, name="labels_pdf"),
    path("reports/packages/<int:pk>.pdf", package_views.package_pdf, name="package_pdf"),
    path("reports/audit-packs/", pack_views.audit_packs, name="audit_packs"),
    path("reports/audit-packs/<int:number>.zip", pack_views.audit_pack_file, name="audit_pack_file"),
    path("calendar/<slug:code>.ics", package_views.calendar, name="calendar"),
    path("reports/worksheets/<int:pk>.pdf", views.worksheet_pdf, name="worksheet_pdf"),
    path("reports/checks/<uuid:uuid>.pdf", views.record_pdf, name="record_pdf"),
]
