"""The clock and the small world of the checks tests, for reports of what was signed in it."""

from tests.checks.conftest import clock, world

__all__ = ["clock", "world"]
