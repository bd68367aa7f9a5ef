"""Stock in plain figures: entries in order, counts, first expiry first, shortfall with its day."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from checks.engine.stock import ADD, COUNT, TAKE, Entry, Lot, Need, cover, on_hand

D = Decimal
NOON = datetime(2025, 3, 1, 12, tzinfo=UTC)


def entry(day: int, kind: str, amount: str, hour: int = 0) -> Entry:
    return Entry(date(2025, 3, day), NOON + timedelta(days=day, hours=hour), kind, D(amount))


def test_what_came_less_what_was_taken() -> None:
    assert on_hand([entry(1, ADD, "200"), entry(3, TAKE, "6.5"), entry(2, TAKE, "9")]) == D("184.5")
    assert on_hand([]) == 0


def test_a_count_says_how_much_there_is_whatever_came_before() -> None:
    rows = [entry(1, ADD, "200"), entry(2, TAKE, "6"), entry(5, COUNT, "150"), entry(7, TAKE, "10")]
    assert on_hand(rows) == D(140)
    assert on_hand([*rows, entry(3, TAKE, "50")]) == D(140), "work before the count is in the count"


def test_of_one_day_the_order_of_entry_counts() -> None:
    rows = [entry(1, ADD, "20"), entry(5, COUNT, "10", hour=2)]
    assert on_hand([*rows, entry(5, TAKE, "3", hour=1)]) == D(10)
    assert on_hand([*rows, entry(5, TAKE, "3", hour=3)]) == D(7)


def test_more_taken_than_came_stays_visible() -> None:
    assert on_hand([entry(1, ADD, "5"), entry(2, TAKE, "9")]) == D(-4)


def lot(key: str, expires: date, amount: str) -> Lot:
    return Lot(key, expires, D(amount))


def test_the_lot_that_expires_first_is_taken_first() -> None:
    lots = [lot("late", date(2026, 1, 1), "10"), lot("early", date(2025, 6, 1), "10")]
    served = cover(lots, [Need(date(2025, 5, 1), D(12))])
    assert served.left == {"early": D(0), "late": D(8)}
    assert (served.needed, served.short, served.short_on, served.lapsed) == (D(12), D(0), None, D(0))


def test_an_expired_lot_serves_nothing_and_its_last_day_still_does() -> None:
    lots = [lot("a", date(2025, 6, 1), "10")]
    assert cover(lots, [Need(date(2025, 6, 1), D(4))]).short == 0
    after = cover(lots, [Need(date(2025, 6, 2), D(4))])
    assert (after.short, after.short_on, after.lapsed) == (D(4), date(2025, 6, 2), D(10))


def test_short_by_so_many_litres_from_the_first_day_that_is_not_served() -> None:
    needs = [Need(date(2025, 9, n), D(6)) for n in (1, 5, 9)]
    served = cover([lot("a", date(2026, 1, 1), "8")], reversed(needs))
    assert (served.short, served.short_on) == (D(10), date(2025, 9, 5))


def test_less_than_nothing_on_hand_serves_nothing() -> None:
    assert cover([lot("a", date(2026, 1, 1), "-4")], [Need(date(2025, 9, 1), D(6))]).short == D(6)


LOTS = st.lists(
    st.builds(
        Lot,
        st.integers(0, 1000),
        st.dates(date(2025, 1, 1), date(2026, 12, 31)),
        st.integers(0, 90).map(D),
    ),
    max_size=6,
    unique_by=lambda one: one.key,
)
NEEDS = st.lists(
    st.builds(Need, st.dates(date(2025, 1, 1), date(2026, 12, 31)), st.integers(1, 40).map(D)), max_size=12
)


@given(lots=LOTS, needs=NEEDS)
def test_nothing_is_lost_and_nothing_made(lots: list[Lot], needs: list[Need]) -> None:
    served = cover(lots, needs)
    had, left = sum(one.amount for one in lots), sum(served.left.values())
    assert served.needed - served.short == had - left
    assert (served.short > 0) == (served.short_on is not None)
    assert all(amount >= 0 for amount in served.left.values())


@given(lots=LOTS, needs=NEEDS, extra=st.integers(1, 90))
def test_more_on_hand_is_never_shorter(lots: list[Lot], needs: list[Need], extra: int) -> None:
    more = [*lots, Lot("more", date(2027, 1, 1), D(extra))]
    assert cover(more, needs).short <= cover(lots, needs).short
