"""A list as JSON: what it is, when it was made, and its rows as objects by the names of the columns."""

import datetime as dt
import json
from collections.abc import Iterable, Sequence
from decimal import Decimal

from reports.tables.csv import Cell


def json_text(title: str, head: Sequence[str], rows: Iterable[Sequence[Cell]], at: dt.datetime) -> str:
    """Numbers as numbers, dates and moments as in ISO 8601, None as null. ValueError for a row of another
    length."""
    listed = [dict(zip(head, map(_plain, row), strict=True)) for row in rows]
    return json.dumps(
        {"list": title, "made_at": at.isoformat(), "columns": list(head), "rows": listed}, ensure_ascii=False
    )


def _plain(cell: Cell) -> str | int | float | bool | None:
    if isinstance(cell, Decimal):
        return float(cell)
    return cell.isoformat() if isinstance(cell, dt.date) else cell
