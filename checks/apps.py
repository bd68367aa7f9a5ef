"""What was done, what was found, and what it means."""

from django.apps import AppConfig


class ChecksConfig(AppConfig):
    name = "checks"
    verbose_name = "Checks"
