"""Property tests draw the same examples on every run, however slow the machine is."""

from hypothesis import settings

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")
