"""Solving one base in a process of its own: a clock beside the engine, which has none. Imports nothing of
Django, because that process has no use for it."""

from time import monotonic

from checks.engine.packages import solve
from checks.engine.packages_data import Base, Plan


def solve_in_time(base: Base, seconds: float) -> Plan:
    """The plan of a base; what one go does not use of the seconds is the next one's."""
    end = monotonic() + seconds
    return solve(base, seconds, left=lambda: end - monotonic())
