"""How a diagnosis is said: group first, then at most three causes, what would separate them, what stays
unseen. One wording for the page and for paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from checks.engine.diagnosis_assumptions import DEFAULT, RankingAssumptions
from checks.engine.diagnosis_causes import (
    AIR,
    ALL_FOULED,
    COUPLING_LEAK,
    FILTER,
    HEALTHY,
    MAIN_LEAK,
    NOZZLE_BLOCKED,
    NOZZLE_LEAK,
    PANEL_BLOCKED,
    PANEL_LINE,
    PUMP_LOW,
    VISCOSITY,
)
from checks.engine.diagnosis_data import NO_FIT, RANKED, WITHIN_SCATTER, YES, CauseShare, Diagnosis
from checks.engine.fluid import USUAL_SHARE, share_as_viscous, temperature_as_viscous

CAUSE_WORDS = {
    HEALTHY: "nothing wrong: scatter of the readings",
    PANEL_BLOCKED: "one panel blocked",
    ALL_FOULED: "general fouling of the panels",
    PANEL_LINE: "line of one panel restricted",
    COUPLING_LEAK: "leak at a panel's coupling",
    MAIN_LEAK: "leak in the main line",
    NOZZLE_LEAK: "leak in the nozzle line",
    PUMP_LOW: "pump delivers too little",
    FILTER: "filter or main line clogged",
    NOZZLE_BLOCKED: "nozzle or its line blocked",
    AIR: "air in the line",
    VISCOSITY: "fluid mixture or temperature not as recorded",
}
GROUP_WORDS = {
    "panels": "the panels and their lines",
    "supply": "the supply: pump, filter, main line",
    "nozzle": "the propeller nozzle and its line",
    "fluid": "the fluid mixture, or the thermometer",
    "line air": "air in the line",
    "none": "nothing: the scatter of the readings may explain it",
}
CELLS = {
    ("high", "high"): "Pressure and flow are both high: that points to general fouling.",
    ("high", "low"): "Pressure is high and flow low: that points to a blocked nozzle branch.",
    ("high", "normal"): (
        "Pressure is high and flow normal: look at temperature and fluid mixture first, then at a panel or "
        "its line."
    ),
    ("low", "low"): (
        "Pressure and flow are both low: pump, main leak or filter; pressure and flow cannot separate them."
    ),
    ("normal", "low"): (
        "Pressure is normal and flow low: that points to a leak in the nozzle line, or a nozzle partly "
        "blocked."
    ),
    ("normal", "high"): (
        "Pressure is normal and flow high: general fouling, a restricted panel line or air."
    ),
    ("low", "normal"): (
        "Pressure is low and flow normal: look at temperature and fluid mixture first, then for a leak at a "
        "coupling."
    ),
    ("low", "high"): "Pressure is low and flow high: that is rare; take the readings again.",
    ("normal", "normal"): "Pressure and flow are both normal: healthy, or one panel blocked.",
}
ADVISORY = (
    "Advisory: it ranks possibilities from a simplified model. The approved limits and manual decide, and a "
    "person."
)
HIDDEN_PANELS = (
    "Normal pressure and flow do not show that every panel flows: a single blocked panel or coupling leak "
    "can stay invisible unless panel ports are read. In simulation fewer than one single blocked panel in "
    "five showed without them."
)
FLUID_TEMPERATURE = "The temperature is that of the fluid in the lines, not of the air."
ALIKE = "A weak pump, a leak in the main line and a clogged filter look alike here."
ASSUMES = (
    "Assumes a pump of constant delivery, the relief valve closed, one fault at a time and an unchanged "
    "fluid mixture. Ratios, fault sizes and weights are assumptions tried in simulation, without field data."
)
CAVEATS = (ADVISORY, HIDDEN_PANELS, FLUID_TEMPERATURE, ALIKE, ASSUMES)
WET_ANYWAY = "Fluid was seen where it should not be: find where it comes from, whatever the readings say."
FITS_POORLY = (
    "Even the best single cause explains these readings poorly: two faults at once, or a reading in error, "
    "are as possible. Take the readings again."
)
LIKELY, POSSIBLE, NOT_SEPARATED = "likely", "possible", "these readings cannot separate"


@dataclass(frozen=True)
class CauseLine:
    """One cause as said; panel: name of the panel, empty where none can be named."""

    cause: str
    label: str
    panel: str
    word: str
    share: str
    further_check: str


@dataclass(frozen=True)
class Said:
    """A diagnosis in words. group, causes: empty unless ranked; doubt: where the best cause fits poorly."""

    verdict: str
    headline: str
    doubt: str
    group: str
    group_share: str
    causes: tuple[CauseLine, ...]
    cell: str
    unseen: tuple[str, ...]


def say(
    diagnosis: Diagnosis,
    panel_names: Sequence[str],
    ranking: RankingAssumptions = DEFAULT.ranking,
    *,
    has_ports: bool = True,
) -> Said:
    """Words for a diagnosis. panel_names: in the order of the ports; has_ports: of the variant."""
    ranked = diagnosis.verdict == RANKED
    group, share = diagnosis.groups[0]
    shown = [one for one in diagnosis.causes[: ranking.shown] if one.share >= ranking.least_shown]
    return Said(
        verdict=diagnosis.verdict,
        headline=_headline(diagnosis, ranking),
        doubt=FITS_POORLY if ranked and not diagnosis.fits else "",
        group=GROUP_WORDS[group] if ranked else "",
        group_share=share_text(share, ranking) if ranked else "",
        causes=tuple(_line(one, diagnosis, panel_names, ranking, has_ports) for one in shown)
        if ranked
        else (),
        cell=CELLS.get((diagnosis.pressure, diagnosis.flow), ""),
        unseen=_unseen(diagnosis, has_ports),
    )


def share_text(share: float, ranking: RankingAssumptions = DEFAULT.ranking) -> str:
    """A probability as a person should read it: no more than "> 90 %"."""
    if share > ranking.most_said:
        return f"> {ranking.most_said * 100:.0f} %"
    return f"{share * 100:.0f} %" if share >= 0.01 else "< 1 %"


def word_of(share: float, ranking: RankingAssumptions = DEFAULT.ranking, *, fits: bool = True) -> str:
    """likely, possible, or that these readings cannot separate it; what fits poorly is never likely."""
    if share >= ranking.likely and fits:
        return LIKELY
    return POSSIBLE if share >= ranking.possible else NOT_SEPARATED


def further_check(one: CauseShare, *, ports_open: bool, drawdown_read: bool, panel_known: bool = True) -> str:
    """The one further check that would separate this cause from the others, of those not yet done.

    ports_open: there are panel ports, and none was read; panel_known: the ranking names the panel.
    """
    if one.cause in _BY_PORTS and ports_open:
        return _BY_PORTS[one.cause]
    if one.cause in _ALL_PANELS and not panel_known:
        return _ALL_PANELS[one.cause]
    if one.cause in _BY_DRAWDOWN and not drawdown_read:
        return _BY_DRAWDOWN[one.cause]
    return _BY_LOOKING[one.cause]


_BY_PORTS = {
    PANEL_BLOCKED: "Read the panel ports: of a blocked panel the port is high.",
    ALL_FOULED: "Read the panel ports: fouling raises all of them.",
    PANEL_LINE: "Read the panel ports: behind a restricted line the port is low.",
}
_ALL_PANELS = {
    PANEL_BLOCKED: "Look at every panel with the pump running: is a part of one dry?",
    PANEL_LINE: "Look at every panel with the pump running, and along its line for a kink.",
}
_BY_DRAWDOWN = {
    PUMP_LOW: "Measure what leaves the tank in a timed run: with a weak pump it is less than usual.",
    MAIN_LEAK: "Measure what leaves the tank in a timed run: with a leak it is no less than usual.",
}
_BY_LOOKING = {
    HEALTHY: "Take the readings again.",
    PANEL_BLOCKED: "Look at this panel with the pump running: is a part of it dry?",
    ALL_FOULED: "Purge as the manual says and take the readings again: fouling gives way, in part at least.",
    PANEL_LINE: "Look along the line of this panel for a kink or a crushed place.",
    COUPLING_LEAK: "Look at the couplings behind the panels for fluid where it should not be.",
    MAIN_LEAK: "Look along the main line for fluid where it should not be.",
    NOZZLE_LEAK: "Look along the nozzle line for fluid where it should not be.",
    PUMP_LOW: "Check supply voltage and pump mode, then the pump's own delivery as the manual says.",
    FILTER: "Look at the filter element and the strainer as the manual says.",
    NOZZLE_BLOCKED: "Look into the nozzle and its line for deposits as the manual says.",
    AIR: "Bleed the line and the gauge hose, then test again: readings settle in the usual time once air "
    "is out.",
    VISCOSITY: "Measure the temperature of the fluid in the lines again, with another thermometer, and its "
    "concentration.",
}


def as_if(ratio: float | None, temperature: float) -> str:
    """Which temperature or mixture would explain a pressure of `ratio` times the usual; '' where none would.

    temperature: °C as recorded. The mixture is said beside one of 85 %, of which the default curve is.
    """
    if ratio is None:
        return ""
    warmth = temperature_as_viscous(ratio, temperature)
    share = share_as_viscous(ratio, temperature)
    told = []
    if warmth is not None and round(warmth) != round(temperature):
        told.append(f"fluid of about {warmth:.0f} °C in place of {temperature:.0f} °C".replace("-", "−"))
    if share is not None and round(share, 2) != USUAL_SHARE:
        told.append(f"a mixture of about {share:.0%} in place of {USUAL_SHARE:.0%}".replace("%", " %"))
    return f" The pressure would fit {', or '.join(told)}." if told else ""


def _headline(diagnosis: Diagnosis, ranking: RankingAssumptions) -> str:
    if diagnosis.verdict == WITHIN_SCATTER:
        words = "The readings are within this aircraft's normal scatter."
        return f"{words} {WET_ANYWAY}" if diagnosis.wet == YES else words
    if diagnosis.verdict == NO_FIT:
        return "No single cause fits these readings; take the readings again."
    group, share = diagnosis.groups[0]
    if share < ranking.possible:
        return "These readings cannot separate the causes."
    return f"{word_of(share, ranking, fits=diagnosis.fits).capitalize()}: {GROUP_WORDS[group]}."


def _line(
    one: CauseShare,
    diagnosis: Diagnosis,
    panel_names: Sequence[str],
    ranking: RankingAssumptions,
    has_ports: bool,
) -> CauseLine:
    fits = as_if(diagnosis.ratios.pressure, diagnosis.temperature) if one.cause == VISCOSITY else ""
    return CauseLine(
        cause=one.cause,
        label=CAUSE_WORDS[one.cause],
        panel="" if one.panel is None else panel_names[one.panel],
        word=word_of(one.share, ranking, fits=diagnosis.fits),
        share=share_text(one.share, ranking),
        further_check=further_check(
            one,
            ports_open=has_ports and not diagnosis.ports_read,
            panel_known=one.panel is not None,
            drawdown_read=diagnosis.ratios.drawdown is not None,
        )
        + fits,
    )


def _unseen(diagnosis: Diagnosis, has_ports: bool) -> tuple[str, ...]:
    """What these readings cannot show, because something was not read."""
    missing = []
    if not diagnosis.ports_read:
        why = "No panel port was read" if has_ports else "This installation has no panel ports"
        missing.append(f"{why}: no single panel can be named.")
    if diagnosis.ratios.flow is None:
        missing.append("No nozzle flow beside the baseline: nozzle and supply are hard to tell apart.")
    if diagnosis.ratios.minutes is None:
        missing.append("No time to settle beside the baseline: air in the line does not show.")
    if diagnosis.ratios.drawdown is None:
        missing.append("Tank draw-down was not measured: a leak in the main line and a weak pump look alike.")
    return tuple(missing)
