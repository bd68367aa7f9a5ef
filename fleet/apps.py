"""The registry: what flies, what is fitted, who works on it."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class FleetConfig(AppConfig):
    name = "fleet"
    verbose_name = "Fleet"

    def ready(self) -> None:
        from fleet import guards, system_checks  # noqa: F401  registers the checks

        pre_migrate.connect(guards.before_migrate, dispatch_uid="guards lifted for a rebuild")
        post_migrate.connect(guards.after_migrate, dispatch_uid="guards put back")
