"""The lists of the trend as files: ranking, past forecasts, what gauges add, causes, reliability."""

from collections.abc import Sequence

from django.http import QueryDict
from django.utils import timezone

from checks.engine.diagnosis_words import CAUSE_WORDS
from checks.filters_drift import DriftFilter
from checks.models import PastForecast
from checks.selectors.cause import report_card
from checks.selectors.drift import drift_rows, series_states
from checks.selectors.drift_card import past_forecasts
from checks.selectors.gauges import gauge_rows
from checks.selectors.reliability import reliability
from reports.listed import Listed, Rows
from reports.tables.csv import Cell


def _drift(query: QueryDict) -> Rows | None:
    found = DriftFilter(query, queryset=series_states())
    if not found.is_valid():
        return None
    states = list(found.listed)
    return (
        (
            row.registration,
            row.base,
            row.variant,
            row.point,
            row.quantity,
            row.state,
            None if state.p_cross is None else round(state.p_cross, 3),
            state.crossing_on,
            state.crossing_low,
            state.crossing_high,
            None if state.margin is None else round(state.margin, 3),
            row.readings,
            row.imported,
            row.next_check_on,
            row.advice.what,
            row.part,
            row.whole,
        )
        for state, row in zip(states, drift_rows(states), strict=True)
    )


def _forecasts(query: QueryDict) -> Rows | None:
    return map(_forecast, past_forecasts())


def _forecast(one: PastForecast) -> Sequence[Cell]:
    return (
        one.aircraft.registration,
        one.point.name,
        one.made_on,
        one.read_on,
        one.readings_in_life,
        one.state,
        None if one.p_cross is None else round(one.p_cross, 3),
        one.crossing_on,
        round(one.low, 1),
        round(one.high, 1),
        one.point.unit,
        one.came_on,
        round(one.value, 1),
        one.low <= one.value <= one.high,
        one.was_over,
        one.over,
        one.crossed_on,
    )


def _gauges(query: QueryDict) -> Rows | None:
    return (
        (
            row.instrument.code,
            row.instrument.get_kind_display(),
            row.verdict,
            round(row.effect, 4),
            round(row.give, 4),
            row.readings,
            row.instrument.calibration_state,
            row.instrument.calibration_due,
            row.instrument.base.name if row.instrument.base else "",
        )
        for row in gauge_rows()[1]
    )


def _causes(query: QueryDict) -> Rows | None:
    return (
        (
            one.found.event.work_date,
            one.found.event.aircraft.registration,
            one.found.event.revision.procedure.title,
            CAUSE_WORDS.get(one.ranked_first, ""),
            str(one.found),
            one.place,
            one.group_right if one.ranked_first else "",
            one.found.remark,
            one.found.found_at,
            str(one.found.found_by),
            str(one.found.event_id),
        )
        for one in report_card().rows
    )


def _reliability(query: QueryDict) -> Rows | None:
    return (
        (
            line.variant,
            line.place,
            line.what,
            line.now.events,
            round(line.now.hours, 2),
            _round(line.now.rate),
            line.before.events,
            round(line.before.hours, 2),
            _round(line.before.rate),
            line.alert,
            line.state if line.counted else "",
        )
        for line in reliability(timezone.localdate()).lines
    )


def _round(rate: float | None) -> float | None:
    return None if rate is None else round(rate, 3)


TREND = {
    "drift": Listed(
        "checks:drift_ranking",
        (
            "Aircraft",
            "Base",
            "Variant",
            "Point",
            "Quantity",
            "State",
            "Chance to cross before the next check",
            "Crossing date",
            "Earliest (8 of 10)",
            "Latest (8 of 10)",
            "Margin as share of the limit",
            "Readings",
            "Of these from paper records",
            "Next check",
            "What to do",
            "Part",
            "Whole aircraft may move together",
        ),
        _drift,
    ),
    "forecasts": Listed(
        "checks:drift_card",
        (
            "Aircraft",
            "Point",
            "Foretold as of",
            "After the reading of",
            "Readings in life",
            "Called",
            "Chance to be over",
            "Crossing date given",
            "Expected from (at 20 °C)",
            "Expected to (at 20 °C)",
            "Unit",
            "Read on",
            "Value that came (at 20 °C)",
            "Inside",
            "Over limit before",
            "Over limit",
            "Limit met about",
        ),
        _forecasts,
    ),
    "gauges": Listed(
        "checks:drift_gauges",
        (
            "Instrument",
            "Kind",
            "Beside the others",
            "Effect as share of the reading",
            "Two standard deviations",
            "Readings",
            "Calibration",
            "Calibration due",
            "Base",
        ),
        _gauges,
    ),
    "causes": Listed(
        "checks:causes",
        (
            "Date of work",
            "Aircraft",
            "Task",
            "Ranked first",
            "Confirmed",
            "Place of the confirmed cause in the ranking",
            "Place to look was right",
            "Remark",
            "Recorded",
            "Recorded by",
            "Key",
        ),
        _causes,
    ),
    "reliability": Listed(
        "checks:reliability",
        (
            "Variant",
            "Place",
            "Counted",
            "Last 12 months",
            "Flight hours",
            "Per 1,000 h",
            "36 months before",
            "Flight hours then",
            "Per 1,000 h then",
            "Alert from",
            "Beside before",
        ),
        _reliability,
    ),
}
