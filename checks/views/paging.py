"""Pages of a list by where they begin, not by number: the last page costs what the first does.

The address holds `page=after-KEY`, `page=before-KEY` (KEY: primary key of the row at the edge) or
`page=last`. A row that is gone since leads to the first page, like a word that is not understood.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import FieldDoesNotExist, ValidationError
from django.db.models import F, Model, Q, QuerySet
from django.db.models.expressions import OrderBy
from django.http import HttpRequest

FIRST, LAST, AFTER, BEFORE = "", "last", "after", "before"


@dataclass(frozen=True)
class KeyPage:
    """One page. before and after: the words of the neighbours' addresses, '' where there is none."""

    object_list: Sequence[Any]
    before: str
    after: str
    whole: int | None = None

    def __iter__(self) -> Iterator[Any]:
        return iter(self.object_list)

    def __len__(self) -> int:
        return len(self.object_list)

    def __getitem__(self, place: int) -> Any:
        return self.object_list[place]

    @property
    def has_other_pages(self) -> bool:
        return bool(self.before or self.after)


@dataclass(frozen=True)
class _Key:
    """One part of an order: a field, its direction, and where rows without a value stand."""

    name: str
    downwards: bool
    nulls_first: bool
    may_be_null: bool

    def turned(self) -> "_Key":
        return _Key(self.name, not self.downwards, not self.nulls_first, self.may_be_null)

    @property
    def expression(self) -> OrderBy:
        nulls: dict[str, bool] = {}
        if self.may_be_null:  # said only where needed: an index is read along without it
            nulls = {"nulls_first": True} if self.nulls_first else {"nulls_last": True}
        return OrderBy(F(self.name), descending=self.downwards, **nulls)

    def is_beyond(self, value: Any) -> Q:
        """Rows that stand after a value by this part alone."""
        if value is None:
            return Q(**{f"{self.name}__isnull": False}) if self.nulls_first else Q(pk__in=[])
        beyond = Q(**{f"{self.name}__{'lt' if self.downwards else 'gt'}": value})
        if self.may_be_null and not self.nulls_first:
            beyond |= Q(**{f"{self.name}__isnull": True})
        return beyond

    def is_at(self, value: Any) -> Q:
        return Q(**{f"{self.name}__isnull": True}) if value is None else Q(**{self.name: value})


def page_of(
    request: HttpRequest,
    rows: QuerySet,
    per_page: int,
    *,
    whole: int | None = None,
    only_keys: bool = False,
) -> KeyPage:
    """The page that the address asks for, of rows in their order.

    whole: how many there are, where it is known; counted otherwise. only_keys: primary keys instead of rows,
    for a list that fetches what it shows in a query of its own. Two queries, one more past the first page.
    """
    keys = _keys(rows)
    word, _, edge = request.GET.get("page", FIRST).partition("-")
    values = _edge(rows, keys, edge) if word in (AFTER, BEFORE) else None
    backwards = word == LAST or (word == BEFORE and values is not None)
    found = _beyond(rows, keys, values, backwards=backwards)
    found = found.values_list("pk", flat=True) if only_keys else found
    taken = list(found[: per_page + 1])
    more, taken = len(taken) > per_page, taken[:per_page]
    if backwards:
        taken.reverse()
        if not more and word == BEFORE:  # the first rows: shown as the first page, and filled as it is
            taken = list(_first(rows, keys, only_keys)[: per_page + 1])
            backwards, values = False, None
            more, taken = len(taken) > per_page, taken[:per_page]
    is_first, is_last = (not more, word == LAST) if backwards else (values is None, not more)
    return KeyPage(
        taken,
        "" if is_first or not taken else f"{BEFORE}-{_pk(taken[0])}",
        "" if is_last or not taken else f"{AFTER}-{_pk(taken[-1])}",
        rows.order_by().count() if whole is None else whole,
    )


def page_of_list(
    request: HttpRequest, rows: Sequence[Any], per_page: int, *, key: Callable[[Any], Any]
) -> KeyPage:
    """The same of rows that are in memory already; key gives what the address calls a row. No query."""
    word, _, edge = request.GET.get("page", FIRST).partition("-")
    keys = [str(key(row)) for row in rows]
    start = 0
    if word == LAST:
        start = max(len(rows) - per_page, 0)
    elif word in (AFTER, BEFORE) and edge in keys:
        start = keys.index(edge) + 1 if word == AFTER else max(keys.index(edge) - per_page, 0)
    end = min(start + per_page, len(rows))
    return KeyPage(
        rows[start:end],
        f"{BEFORE}-{keys[start]}" if 0 < start < len(rows) else "",
        f"{AFTER}-{keys[end - 1]}" if end < len(rows) else "",
        len(rows),
    )


def _pk(row: Any) -> Any:
    return row.pk if isinstance(row, Model) else row


def _first(rows: QuerySet, keys: Sequence[_Key], only_keys: bool) -> QuerySet:
    found = rows.order_by(*(key.expression for key in keys))
    return found.values_list("pk", flat=True) if only_keys else found


def _edge(rows: QuerySet, keys: Sequence[_Key], edge: str) -> tuple[Any, ...] | None:
    """The values of the order at the row of the edge; None where there is no such row."""
    try:
        key = rows.model._meta.pk.to_python(edge)
    except ValidationError:
        return None
    return rows.filter(pk=key).order_by().values_list(*(part.name for part in keys)).first()


def _beyond(
    rows: QuerySet, keys: Sequence[_Key], values: tuple[Any, ...] | None, *, backwards: bool
) -> QuerySet:
    """Rows from the edge on, in the order or against it."""
    keys = [key.turned() for key in keys] if backwards else list(keys)
    if values is not None:
        rows = rows.filter(_after(keys, values))
        first, value = keys[0], values[0]
        if value is not None and (first.nulls_first or not first.may_be_null):
            # Says the same once more about the first part alone, so that an index can be entered there.
            rows = rows.filter(**{f"{first.name}__{'lte' if first.downwards else 'gte'}": value})
    return rows.order_by(*(key.expression for key in keys))


def _after(keys: Sequence[_Key], values: Sequence[Any]) -> Q:
    beyond = keys[0].is_beyond(values[0])
    if len(keys) == 1:
        return beyond
    return beyond | (keys[0].is_at(values[0]) & _after(keys[1:], values[1:]))


def _keys(rows: QuerySet) -> list[_Key]:
    """The order of a queryset, or of its model, with the primary key at its end."""
    keys = [_key(rows, part) for part in rows.query.order_by or rows.model._meta.ordering]
    unique = ("pk", rows.model._meta.pk.name)
    return keys if keys and keys[-1].name in unique else [*keys, _key(rows, "pk")]


def _key(rows: QuerySet, part: Any) -> _Key:
    """One part of a queryset's order. Rows without a value stand first upwards and last downwards, unless
    the order says otherwise: both engines then agree."""
    if isinstance(part, str):
        name, downwards = part.lstrip("-"), part.startswith("-")
        nulls_first = not downwards
    else:
        name, downwards = part.expression.name, part.descending
        nulls_first = bool(part.nulls_first) or not (part.nulls_last or downwards)
    return _Key(name, downwards, nulls_first, _may_be_null(rows, name))


def _may_be_null(rows: QuerySet, name: str) -> bool:
    """Whether a field, or one on the way to it, may be empty; what is worked out in a query may always."""
    if name in rows.query.annotations:
        return True
    model, null = rows.model, False
    for part in name.split("__"):
        try:
            field = model._meta.pk if part == "pk" else model._meta.get_field(part)
        except FieldDoesNotExist:
            return True
        null = null or field.null
        model = field.related_model or model
    return null
