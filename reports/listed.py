"""What a list needs to become a file."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from django.http import QueryDict

from reports.tables.csv import Cell

Rows = Iterable[Sequence[Cell]]


@dataclass(frozen=True)
class Listed:
    """A list as a file: the page that shows it, its columns, its rows for a query (None: not understood)."""

    page: str
    columns: tuple[str, ...]
    rows: Callable[[QueryDict], Rows | None]
