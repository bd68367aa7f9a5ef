"""Handing over: pages, paper, tables, files in and out."""

from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"
    verbose_name = "Reports"
