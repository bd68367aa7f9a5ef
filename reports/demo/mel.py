"""The invented operator's MEL: items approved by another than who typed them, and one that waits."""

import datetime as dt

from checks.models import MelItem, Record
from checks.services.chain import append, row
from reports.demo.master import Master, read

TYPED_BY, APPROVED_BY = "controller2", "director1"
APPROVED_DAYS_AGO = 2300


def load_mel(master: Master) -> None:
    """Write the items; master.mel holds those in force by number."""
    data = read("mel")
    at = dt.datetime.combine(master.days_ago(APPROVED_DAYS_AGO), dt.time(10), dt.UTC)
    newest = Record.objects.filter(chain__aircraft=None).order_by("-written_at").first()
    at = max(at, newest.written_at) if newest else at  # a chain runs forwards in time
    for fields in data["items"]:
        item = _item(master, fields, data["source_revision"])
        item.approved_by, item.approved_at = master.people[APPROVED_BY], at
        item.save(update_fields=["approved_by", "approved_at"])
        append(aircraft=None, act="MEL item", payload={"item": row(item)}, at=at)
        master.mel[item.number] = item
    _item(master, data["waiting"], data["source_revision"])


def _item(master: Master, fields: dict[str, object], source: str) -> MelItem:
    item = MelItem(typed_by=master.people[TYPED_BY], source_revision=source, **fields)
    item.full_clean()
    item.save()
    return item
