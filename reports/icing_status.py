"""The icing status as a sheet: what the page shows for the same query, all pages of it."""

import datetime as dt
from dataclasses import dataclass

from django.http import QueryDict
from django.utils import timezone

from checks.forms.aircraft import IcingFilter
from checks.selectors.icing import IcingStatus
from fleet.models import Aircraft, Operator


@dataclass(frozen=True)
class IcingSheet:
    """Aircraft with their reasons as recorded at a moment; words: what was filtered."""

    operator: str
    is_demo: bool
    at: dt.datetime
    words: str
    statuses: tuple[IcingStatus, ...]

    @property
    def against(self) -> int:
        return sum(bool(one.reasons) for one in self.statuses)


def icing_sheet(query: QueryDict) -> IcingSheet | None:
    """None where the filter was not understood. As many queries as the page, however many aircraft."""
    found = IcingFilter(query, queryset=Aircraft.objects.exclude(state=Aircraft.State.LEFT))
    if not found.is_valid():
        return None
    at, operator = timezone.now(), Operator.current()
    given = [str(value) for value in found.form.cleaned_data.values() if value]
    return IcingSheet(
        operator.name, operator.is_demo, at, ", ".join(given) or "every aircraft", tuple(found.statuses(at))
    )
