"""Canonical form v1. The texts and hashes here must never change."""

import json
import random
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal as D
from enum import IntEnum, StrEnum
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine.canonical import FORM_VERSION, GENESIS, canonical_json, record_hash


class Kind(StrEnum):
    FLOW = "flow"


class Rank(IntEnum):
    SECOND = 2


RECORD = {
    "form": FORM_VERSION,
    "zulu": datetime(2026, 3, 10, 1, 5, tzinfo=timezone(timedelta(hours=2))),
    "Äther": '°C “wet” \\ "dry"\n\t\x01\x7f/',
    "value": D("12.50"),
    "whole": D("1E+2"),
    "small": D("0E-6"),
    "on": date(2026, 3, 10),
    "kind": Kind.FLOW,
    "rank": Rank.SECOND,
    "uuid": UUID("6B8D3E7A-0000-4000-8000-00000000000F"),
    "list": (1, None, True, False, [], {}),
}
TEXT = (
    '{"form":1,"kind":"flow","list":[1,null,true,false,[],{}],"on":"2026-03-10","rank":2,"small":"0.000000",'
    '"uuid":"6b8d3e7a-0000-4000-8000-00000000000f","value":"12.50","whole":"100",'
    '"zulu":"2026-03-09T23:05:00.000000Z",'
    '"Äther":"°C “wet” \\\\ \\"dry\\"\\n\\t\\u0001\x7f/"}'
)


def test_the_form_is_frozen():
    assert canonical_json(RECORD) == TEXT


def test_hashes_agree_with_another_program():
    # GNU coreutils: printf '%064d\n{"a":1}' 0 | sha256sum, then the same with that hash in place of the zeros
    assert GENESIS == "0" * 64
    first = record_hash(GENESIS, canonical_json({"a": 1}))
    assert first == "f21735afd2cd6af4fc5804b0045cebfd545aef8396d29d030c39cb8880b45b7f"
    assert (
        record_hash(first, canonical_json({"a": "°C"}))
        == "6ea4272b257ff52c93550a1227e3d520ea90177a40dd141ae285c884a994bd8d"
    )


def test_strings_are_kept_code_point_for_code_point():
    composed, decomposed = "\u00e9", "e\u0301"
    assert canonical_json(composed) != canonical_json(decomposed)
    assert canonical_json(decomposed) == f'"{decomposed}"'


def test_keys_are_sorted_by_code_point():
    assert canonical_json({"b": 1, "B": 2, "é": 3, "\uffff": 4, "\U0001f600": 5}) == (
        '{"B":2,"b":1,"é":3,"\uffff":4,"\U0001f600":5}'
    )


@pytest.mark.parametrize(
    ("refused", "error"),
    [
        (1.5, TypeError),
        ({"a": [{"b": 0.0}]}, TypeError),
        (D("NaN"), ValueError),
        (D("Infinity"), ValueError),
        (datetime(2026, 3, 10), TypeError),
        ({1: "a"}, TypeError),
        ({"a"}, TypeError),
        (b"a", TypeError),
        (timedelta(1), TypeError),
        ("\ud800", ValueError),
    ],
)
def test_what_the_form_does_not_hold(refused, error):
    with pytest.raises(error):
        canonical_json(refused)


def test_a_refusal_names_the_place():
    with pytest.raises(TypeError, match=r"\$\.a\[0\]\.b: floats"):
        canonical_json({"a": [{"b": 0.0}]})


@pytest.mark.parametrize("previous", ["", "0" * 63, "0" * 65, "G" * 64, "A" * 64, "0" * 64 + "\n"])
def test_a_previous_hash_must_be_one(previous):
    with pytest.raises(ValueError, match="64 lower-case hex digits"):
        record_hash(previous, "{}")


TREES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text("abÄ\U0001f600", max_size=3), inner),
    max_leaves=12,
)


@given(TREES)
def test_it_is_json_and_reading_it_back_gives_the_same_text(tree):
    text = canonical_json(tree)
    assert json.loads(text) == tree
    assert canonical_json(json.loads(text)) == text


@given(st.dictionaries(st.text(max_size=4), st.integers(), min_size=2), st.integers())
def test_the_order_of_keys_does_not_matter(found, seed):
    keys = list(found)
    random.Random(seed).shuffle(keys)
    try:
        expected = canonical_json(found)
    except ValueError:
        return  # lone surrogates
    assert canonical_json({key: found[key] for key in keys}) == expected


@given(st.decimals(allow_nan=False, allow_infinity=False, places=4))
def test_a_decimal_keeps_its_digits(value):
    text = json.loads(canonical_json(value))
    assert D(text) == value
    assert "E" not in text and text == f"{value:f}"


@given(st.datetimes(), st.integers(-12, 14))
def test_a_time_is_the_same_in_any_zone(moment, hours):
    try:
        elsewhere = moment.replace(tzinfo=UTC).astimezone(timezone(timedelta(hours=hours)))
    except OverflowError:
        return
    text = canonical_json(elsewhere)
    assert text == canonical_json(moment.replace(tzinfo=UTC))
    assert len(text) == 29 and text.endswith('Z"')
    assert datetime.fromisoformat(json.loads(text)) == elsewhere


@given(TREES, TREES)
def test_any_change_changes_the_hash(a, b):
    one, other = canonical_json(a), canonical_json(b)
    assert (record_hash(GENESIS, one) == record_hash(GENESIS, other)) == (one == other)
