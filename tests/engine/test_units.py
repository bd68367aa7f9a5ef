"""Units and typed numbers."""

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from checks.engine import units
from tests.reference.tables import rows

TYPED = st.decimals(-99999, 99999, places=units.TYPED_PLACES)
CODES = st.sampled_from(sorted(units.UNITS))


@pytest.mark.parametrize("row", rows("units.csv"), ids=lambda row: f"{row['value']} {row['unit']}")
def test_published_factors(row):
    canonical = units.to_canonical(D(row["value"]), row["unit"])
    assert abs(canonical - D(row["canonical"])) <= D(row["tolerance"])


def test_a_psi_is_the_exact_pressure_to_the_grid():
    # 6.894757293168361 kPa: exact by definition of pound-force and inch (NIST SP 811 B.8).
    assert units.to_canonical(D(1_000_000), "[psi]") == D("6894757.293168")


@given(TYPED, CODES)
def test_there_and_back_is_exact_for_typed_digits(value, code):
    assert units.from_canonical(units.to_canonical(value, code), code) == value


@given(TYPED, TYPED, CODES)
def test_order_is_kept(a, b, code):
    low, high = sorted((a, b))
    assert units.to_canonical(low, code) <= units.to_canonical(high, code)


@given(TYPED, TYPED, CODES)
def test_a_difference_is_the_difference_of_two_values(a, b, code):
    apart = units.to_canonical(a, code) - units.to_canonical(b, code)
    assert abs(units.difference_to_canonical(a - b, code) - apart) <= 2 * units.CANONICAL_STEP


def test_a_difference_in_fahrenheit_has_no_zero_shift():
    assert units.difference_to_canonical(D(9), "[degF]") == 5


def test_every_quantity_has_a_canonical_unit_with_factor_one():
    for quantity in units.QUANTITIES:
        code = units.canonical_unit(quantity)
        assert units.to_canonical(D("12.5"), code) == D("12.5")
        assert units.units_for(quantity)[0].code == code
    assert {unit.quantity for unit in units.UNITS.values()} == set(units.QUANTITIES)


def test_labels_are_for_people():
    assert units.UNITS["[psi]"].label == "psi"
    assert units.UNITS["Cel"].label == "°C"


@pytest.mark.parametrize(
    "call", [lambda: units.to_canonical(D(1), "psi"), lambda: units.canonical_unit("speed")]
)
def test_unknown_names_are_refused_with_the_known_ones(call):
    with pytest.raises(ValueError, match="is not known; known"):
        call()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("12.5", "12.5"),
        ("12,5", "12.5"),
        ("12,50", "12.50"),
        (" 12,5\u00a0", "12.5"),
        ("\u202f7 ", "7"),
        ("−3", "-3"),
        ("-0,5", "-0.5"),
        ("+4", "4"),
        (".5", "0.5"),
        ("0,125", "0.125"),
        ("1.234", "1.234"),
        ("1234,567", "1234.567"),
        ("12,3456", "12.3456"),
    ],
)
def test_numbers_as_people_type_them(text, expected):
    parsed = units.parse_decimal(text)
    assert str(parsed) == expected  # digits as typed, trailing zeros too


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "nothing is typed"),
        ("   ", "nothing is typed"),
        ("nan", "not a plain number"),
        ("inf", "not a plain number"),
        ("-Infinity", "not a plain number"),
        ("1e3", "not a plain number"),
        ("1E-2", "not a plain number"),
        ("1 234", "not a plain number"),
        ("1_000", "not a plain number"),
        ("5.", "not a plain number"),
        ("--5", "not a plain number"),
        ("٣", "not a plain number"),
        ("12 psi", "not a plain number"),
        ("1,234.5", "a point and a comma"),
        ("1.234,5", "a point and a comma"),
        ("1,234", "read as 1.234 or as 1234"),
        ("-12,500", "read as -12.500 or as -12500"),
        ("1,234,567", "not a plain number"),
        ("9" * 25, "longer than"),
    ],
)
def test_what_is_refused_says_why_and_the_way_out(text, says):
    with pytest.raises(ValueError, match=says) as caught:
        units.parse_decimal(text)
    assert "write" in str(caught.value)


def test_a_declared_decimal_mark_settles_what_is_else_ambiguous():
    assert units.parse_decimal("1,234", decimal_mark=",") == D("1.234")
    assert units.parse_decimal("1234", decimal_mark=",") == 1234
    with pytest.raises(ValueError, match="declared decimal mark"):
        units.parse_decimal("1,234", decimal_mark=".")
    with pytest.raises(ValueError, match="declared decimal mark"):
        units.parse_decimal("1.5", decimal_mark=",")


@given(st.decimals(-99999, 99999, places=2))
def test_what_is_written_is_read_again(value):
    assert units.parse_decimal(f"{value:f}") == value
    assert units.parse_decimal(f"{value:f}".replace(".", ",")) == value


def test_collected_flow():
    assert units.collected_flow(D(170), D(60)) == 170
    assert units.collected_flow(D(85), D(30)) == 170
    assert units.collected_flow(D(100), D(70)) == D("85.714286")


@pytest.mark.parametrize(("volume", "seconds"), [(D(1), D(0)), (D(1), D(-60)), (D(-1), D(60))])
def test_a_collection_that_cannot_be_is_refused(volume, seconds):
    with pytest.raises(ValueError, match="collect"):
        units.collected_flow(volume, seconds)


def test_shown_in_a_sentence():
    assert units.shown(D("172.368932"), "[psi]") == "25 psi"
    assert units.shown(D("21.111111"), "[degF]") == "70 °F"
    assert units.shown(D(5), "[degF]", difference=True) == "9 °F"
    assert units.shown(D("1.500"), None) == "1.5"
    assert units.shown(D("1E+2"), None) == "100"
    assert units.shown(D("0.000"), None) == "0"
    assert units.shown(D("-0.0"), "Cel") == "0 °C"  # thermometers do show it
