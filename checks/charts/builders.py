"""The ready-made scenes under one name."""

from checks.charts.drift import drift_scene, spark_scene
from checks.charts.limits import limit_scene
from checks.charts.series import series_scene

__all__ = ["drift_scene", "limit_scene", "series_scene", "spark_scene"]
