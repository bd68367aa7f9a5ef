"""Canonical JSON, form v1, and the hash that chains records. Frozen for ever: never change v1, add a v2.

Form v1: UTF-8; object keys sorted by code point; no whitespace; integers plain; Decimals as strings with
their digits as typed ('12.50'); dates ISO 8601; datetimes in UTC as YYYY-MM-DDTHH:MM:SS.ffffffZ with six
digits always; UUIDs as lower-case strings; None null; only " \\ and control characters are escaped. Strings
are kept code point for code point, without Unicode normalisation: its tables grow with each edition of
Unicode, and a record must hash alike in every year. Floats, sets, naive datetimes and lone surrogates are
refused.
"""

import hashlib
import json
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from uuid import UUID

FORM_VERSION = 1
GENESIS = "0" * 64
_HASH = re.compile(r"[0-9a-f]{64}")


def canonical_json(obj: object) -> str:
    """The one text of a value in form v1. TypeError or ValueError for what the form does not hold."""
    text = json.dumps(_plain(obj, "$"), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise ValueError(f"a text holds a character that UTF-8 cannot carry: {error.reason}") from None
    return text


def record_hash(previous_hash: str, canonical: str) -> str:
    """SHA-256, hex, of the previous record's hash, a line feed and this record's canonical text."""
    if not _HASH.fullmatch(previous_hash):
        raise ValueError(
            "the previous hash must be 64 lower-case hex digits; the first record follows GENESIS"
        )
    return hashlib.sha256(f"{previous_hash}\n{canonical}".encode()).hexdigest()


def _plain(obj: object, path: str) -> object:
    """The same value in JSON's own types; path says where a refused value stands."""
    if obj is None or isinstance(obj, bool):
        return obj
    if isinstance(obj, str):
        return str.__str__(obj)
    if isinstance(obj, int):
        return int(obj)
    if isinstance(obj, dict):
        for key in obj:
            if not isinstance(key, str):
                raise TypeError(f"{path}: key {key!r} is not a text")
        return {str.__str__(key): _plain(value, f"{path}.{key}") for key, value in obj.items()}
    if isinstance(obj, list | tuple):
        return [_plain(value, f"{path}[{index}]") for index, value in enumerate(obj)]
    return _text(obj, path)


def _text(obj: object, path: str) -> str:
    if isinstance(obj, Decimal):
        if not obj.is_finite():
            raise ValueError(f"{path}: {obj} is not a finite number")
        return format(obj, "f")
    if isinstance(obj, datetime):
        if obj.utcoffset() is None:
            raise TypeError(f"{path}: the time {obj} names no time zone")
        return obj.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0")
    if isinstance(obj, date):
        return obj.isoformat()
    if isinstance(obj, UUID):
        return str(obj)
    if isinstance(obj, float):
        raise TypeError(f"{path}: floats have no place in a record; give the typed Decimal")
    raise TypeError(f"{path}: {type(obj).__name__} has no canonical form")
