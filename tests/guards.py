"""The one way past the guards, for tests only: tear-down must empty tables that nobody else may, and
test data that is laid down again (tests/snapshot.py) brings a chain that has links already."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from django.db.backends.base.base import BaseDatabaseWrapper

from fleet import guards


@contextmanager
def guards_lifted(
    connection: BaseDatabaseWrapper, which: Callable[[guards.Guard], bool] = lambda guard: True
) -> Iterator[None]:
    """No guard (of those asked for) stands inside; all stand again afterwards, whatever happened."""
    declared = [guard for guard in guards.all_declared() if which(guard)]
    guards.remove(connection, declared)
    try:
        yield
    finally:
        guards.install(connection, declared)
