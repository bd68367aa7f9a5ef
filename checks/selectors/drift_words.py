"""How drift is told: chance, crossing date, what to do and why, in the words of page and paper alike.

The words say what a model makes of the records. They give no permission and take no decision.
"""

import datetime as dt
from dataclasses import dataclass

from django.utils import timezone

from checks.charts.wording import day_words
from checks.engine.drift_action import LOOK, NOTHING, PURGE_BEFORE, REPLACE
from checks.models import SeriesState
from fleet.models import MeasuringPoint

ODDS = (
    *((1, of) for of in (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100)),
    *((2, 5), (3, 5), (2, 3), (3, 4), (4, 5), (9, 10), (19, 20)),
)
ADVICE = (
    "Advice from a simplified model, tried on simulated aircraft and not in the field. The limits of the "
    "approved manual decide, not this page; the operator's programme and a licensed person rule.",
    "A chance is a chance: of ten points with 1 in 10, one crosses. A single reading can be wrong, and a "
    "sudden blockage gives no warning at all.",
    "Readings are brought to 20 °C by the temperature of the fluid in the lines; where that was misread, all "
    "points of one check move together.",
    "Normal pressure and flow do not show that every panel flows. Only the look at every panel does.",
)
NO_PORTS = "No panel ports: these readings can name no single panel."
PORTS_TELL = "The readings at the panel ports tell which panel."
SHORTER = "The times between purges get shorter."
TOGETHER = "All points of this aircraft may move together: look at thermometer, gauge and fluid first."
STRICTER = "Where this advice and the manual differ, the manual is right."


@dataclass(frozen=True)
class Advice:
    """What to do, and why that or what to know about it."""

    what: str
    why: tuple[str, ...]


def chance_words(chance: float | None) -> str:
    """0.34 -> 'about 1 in 3, 34 %'; an empty text where nothing can be said."""
    if chance is None:
        return ""
    if chance < 0.01:
        return "under 1 in 100, <\u00a01\u00a0%"
    if chance > 0.99:
        return "over 99 in 100, >\u00a099\u00a0%"
    part, of = min(ODDS, key=lambda pair: abs(pair[0] / pair[1] - chance))
    return f"about {part} in {of}, {chance:.0%}".replace("%", " %")


def crossing_words(state: SeriesState) -> tuple[str, str]:
    """The crossing date and its interval: ('about 2 May 2027', '9 Jan 2027 to 4 Sep 2028'), empty without."""
    if state.state == SeriesState.State.OVER:
        return "over now", ""
    if not (state.crossing_on or state.crossing_low):
        return "", ""
    today = timezone.localdate(state.scored_at)
    if state.crossing_on is None:
        return "perhaps never", f"as early as {_from(state.crossing_low, today)}"
    about = "about now" if state.crossing_on <= today else f"about {day_words(state.crossing_on)}"
    if state.crossing_high is None:
        return about, f"{_from(state.crossing_low, today)} to perhaps never"
    if state.crossing_high <= today:
        return about, ""
    return about, f"{_from(state.crossing_low, today)} to {day_words(state.crossing_high)}"


def _from(low: dt.date | None, today: dt.date) -> str:
    return "now" if low is None or low <= today else day_words(low)


def share_words(share: float | None) -> str:
    """0.124 -> '12 %', -0.13 -> '−13 %'."""
    return "" if share is None else f"{share:.0%}".replace("%", " %").replace("-", "−")


def advice(state: SeriesState) -> Advice:
    """What to do about a series, with its aircraft's variant and its point fetched."""
    why = list(_why(state))
    what = {
        NOTHING: "nothing" if state.readings_in_life > 1 else "nothing yet",
        LOOK: "look at the next check",
        PURGE_BEFORE: _by("purge", state),
        REPLACE: _by("replace", state),
    }[state.action]
    if state.action == LOOK and state.action_by:
        what += f", {_dated(state.action_by, state)}"
    return Advice(what, tuple(why))


def panel_words(state: SeriesState) -> str:
    """The panel that the point names, or in a few words why it names none."""
    if state.point.kind == MeasuringPoint.Kind.PANEL_PORT:
        return state.point.position.name if state.point.position else ""
    return "see its panel ports" if state.aircraft.variant.has_panel_ports else "none: no panel ports"


def which_panel(state: SeriesState) -> str:
    """What the point can say of a single panel."""
    if not state.aircraft.variant.has_panel_ports:
        return NO_PORTS
    if state.point.kind == MeasuringPoint.Kind.PANEL_PORT:
        return f"Panel: {state.point.position}." if state.point.position else ""
    return PORTS_TELL


def _why(state: SeriesState):
    facts = state.facts
    if state.state == SeriesState.State.OVER:
        yield "The defect stays open until a person closes it."
    if not state.readings_in_life and state.life_began_on:
        yield f"New life since {day_words(state.life_began_on)}, not read since."
    if facts.get("shortening"):
        yield SHORTER
    if facts.get("whole_aircraft"):
        yield TOGETHER
    if facts.get("left_out"):
        yield f"Left out: {facts['left_out']} readings at temperatures that nothing can bring to 20 °C."
    if facts.get("in_doubt"):
        yield _in_doubt(len(facts["in_doubt"]), facts.get("last_on"))
    if state.action in (PURGE_BEFORE, REPLACE):
        yield which_panel(state)


def _in_doubt(number: int, last_on: str | None) -> str:
    """What is left out for an instrument out of calibration, and how old what is said here therefore is."""
    left_out = "1 reading" if number == 1 else f"{number} readings"
    day = last_on and day_words(dt.date.fromisoformat(last_on))
    rests = f"rests on readings up to {day}" if day else "says nothing of it"
    return f"Left out: {left_out} in doubt, with an instrument out of calibration. What is said here {rests}."


def _by(verb: str, state: SeriesState) -> str:
    if state.state == SeriesState.State.OVER:
        return f"{verb}, then test again"
    if state.action_by is None or state.action_by <= timezone.localdate(state.scored_at):
        return f"{verb} now"
    return f"{verb} before {day_words(state.action_by)}"


def _dated(on: dt.date, state: SeriesState) -> str:
    overdue = on < timezone.localdate(state.scored_at)
    return f"which was due on {day_words(on)}" if overdue else f"due {day_words(on)}"
