"""The registry: what flies, what is fitted, who works on it."""

from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"
    verbose_name = "Fleet"

    def ready(self) -> None:
        from fleet import system_checks  # noqa: F401  registers the checks
