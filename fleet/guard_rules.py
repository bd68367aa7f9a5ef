"""What the database itself refuses in the registry, whatever the code says (fleet/guards.py).

Fitments on PostgreSQL are held apart by exclusion constraints (migration 0002); SQLite has none, so
triggers say the same. Dates compare as they are stored on both engines.
"""

from fleet.guards import Guard

UTILISATION = "fleet_utilisationentry"
FITMENT = "fleet_fitment"
BATCH = "fleet_fluidbatch"
MOVE = "fleet_plannedmove"

# The other entries of the aircraft that stand, leaving out the one that the new entry corrects.
_STANDING = (
    f'SELECT e."hours", e."landings" FROM "{UTILISATION}" e WHERE e."aircraft_id" = NEW."aircraft_id" '
    'AND e."id" <> COALESCE(NEW."supersedes_id", -1) '
    f'AND NOT EXISTS (SELECT 1 FROM "{UTILISATION}" c WHERE c."supersedes_id" = e."id") AND '
)
# Those that stand are in order already, so the nearest day before and the nearest after decide.
_BACKWARDS = (
    f'EXISTS (SELECT 1 FROM ({_STANDING} e."on" < NEW."on" ORDER BY e."on" DESC LIMIT 1) b '
    'WHERE b."hours" > NEW."hours" OR b."landings" > NEW."landings") '
    f'OR EXISTS (SELECT 1 FROM ({_STANDING} e."on" > NEW."on" ORDER BY e."on" LIMIT 1) b '
    'WHERE b."hours" < NEW."hours" OR b."landings" < NEW."landings")'
)
_DAY_TAKEN = f'EXISTS ({_STANDING} e."on" = NEW."on")'
_NO_AIRCRAFT = (
    'NOT EXISTS (SELECT 1 FROM "fleet_aircraft" a WHERE a."id" = NEW."aircraft_id" FOR NO KEY UPDATE)'
)
_CORRECTS_NO_ENTRY_OF_IT = (
    'NEW."supersedes_id" IS NOT NULL AND NOT EXISTS '
    f'(SELECT 1 FROM "{UTILISATION}" e WHERE e."id" = NEW."supersedes_id" AND e."id" <> NEW."id" '
    'AND e."aircraft_id" = NEW."aircraft_id")'
)
# A fitment of no days (fitted and removed on one day) meets none, as an empty range on PostgreSQL.
_OVERLAP = (
    f'EXISTS (SELECT 1 FROM "{FITMENT}" f WHERE f."id" <> NEW."id" AND {{}} '
    'AND (f."removed_on" IS NULL OR (f."removed_on" > NEW."fitted_on" AND f."removed_on" > f."fitted_on")) '
    'AND (NEW."removed_on" IS NULL '
    'OR (f."fitted_on" < NEW."removed_on" AND NEW."removed_on" > NEW."fitted_on")))'
)
_SAME_POSITION = 'f."aircraft_id" = NEW."aircraft_id" AND f."position_id" = NEW."position_id"'
_SAME_PART = 'f."part_id" = NEW."part_id"'


def rules() -> list[Guard]:
    """Guards of utilisation, deliveries and planned moves on both engines, of fitments on SQLite."""
    return utilisation_rules() + fitment_rules() + delivery_rules() + move_rules()


def utilisation_rules() -> list[Guard]:
    """Entries are added only; hours and landings run forwards among those that stand, one for a day."""
    return [
        Guard(UTILISATION, "update", "a utilisation entry is never changed: correct it by a new one"),
        Guard(UTILISATION, "delete", "a utilisation entry is never deleted: correct it by a new one"),
        # First by name, so it runs first: it locks the aircraft, and the entries of one aircraft wait for
        # each other instead of each missing the other. SQLite has one writer at a time anyway.
        _insert("aircraft", "there is no such aircraft", _NO_AIRCRAFT, vendor="postgresql"),
        _insert("backwards", "utilisation never runs backwards among the entries that stand", _BACKWARDS),
        _insert(
            "correction",
            "a correction takes the place of an entry of the same aircraft",
            _CORRECTS_NO_ENTRY_OF_IT,
        ),
        _insert("day", "one utilisation entry stands per aircraft and day", _DAY_TAKEN),
    ]


def _insert(name: str, message: str, when: str, vendor: str | None = None) -> Guard:
    return Guard(UTILISATION, "insert", message, when, name=name, vendor=vendor)


def fitment_rules() -> list[Guard]:
    """No two parts in one position and no part in two places on any day."""
    refusals = [
        ("position", "two parts in one position at once", _SAME_POSITION),
        ("part", "one part in two places at once", _SAME_PART),
    ]
    return [
        Guard(FITMENT, verb, message, _OVERLAP.format(same), name=name, vendor="sqlite")
        for verb in ("insert", "update")
        for name, message, same in refusals
    ]


def delivery_rules() -> list[Guard]:
    """A delivery of fluid is the first entry of its stock: how much came where and when never changes."""
    columns = ("code", "base_id", "received_on", "litres")
    changed = " OR ".join(f'NEW."{column}" <> OLD."{column}"' for column in columns)
    return [Guard(BATCH, "update", "a delivery is never changed: count the batch instead", changed)]


def move_rules() -> list[Guard]:
    """A planned move is ended once and never changed otherwise."""
    columns = ("aircraft_id", "base_id", "on", "remark", "planned_by_id", "planned_at")
    changed = " OR ".join(f'NEW."{column}" <> OLD."{column}"' for column in columns)
    return [
        Guard(
            MOVE,
            "update",
            "a planned move is ended once and never changed: plan another one",
            f"OLD.\"end\" <> '' OR {changed}",
        ),
        Guard(MOVE, "delete", "a planned move is withdrawn and never deleted"),
    ]
