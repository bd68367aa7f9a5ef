"""How a ranking is said."""

from dataclasses import replace

import pytest

from checks.engine.diagnosis import diagnose
from checks.engine.diagnosis_causes import CAUSES, GROUPS, Fault
from checks.engine.diagnosis_data import NO_FIT, RANKED, YES, CauseShare, Diagnosis, Ratios, baseline_of
from checks.engine.diagnosis_words import (
    ALIKE,
    CAUSE_WORDS,
    CAVEATS,
    CELLS,
    FITS_POORLY,
    GROUP_WORDS,
    HIDDEN_PANELS,
    WET_ANYWAY,
    as_if,
    further_check,
    say,
    share_text,
    word_of,
)
from tests.engine.test_diagnosis import PANELS, SURE, USUAL, showing

NAMES = tuple(f"panel {letter}" for letter in "ABCDEFGH")


def diagnosed(fault: Fault, **changes) -> Diagnosis:
    check = replace(showing(fault), **changes)
    return diagnose(check, baseline_of([USUAL]), SURE, panels=PANELS)


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.999, "> 90 %"), (0.9001, "> 90 %"), (0.9, "90 %"), (0.62, "62 %"), (0.01, "1 %"), (0.004, "< 1 %")],
)
def test_no_more_than_ninety_per_cent_is_said(share: float, text: str) -> None:
    assert share_text(share) == text


@pytest.mark.parametrize(
    ("share", "word"),
    [
        (0.85, "likely"),
        (0.849, "possible"),
        (0.5, "possible"),
        (0.499, "these readings cannot separate"),
    ],
)
def test_three_words(share: float, word: str) -> None:
    assert word_of(share) == word


def test_a_plain_fault_is_said_group_first_with_its_panel() -> None:
    said = say(diagnosed(Fault("panel_blocked", 0.8, 2)), NAMES)
    assert said.headline == "Likely: the panels and their lines."
    assert (said.group_share, said.causes[0].label) == ("> 90 %", "one panel blocked")
    assert (said.causes[0].panel, said.causes[0].word) == ("panel C", "likely")
    assert "dry" in said.causes[0].further_check


def test_at_most_three_causes_and_none_that_is_remote() -> None:
    for fault in (Fault("pump_low", 0.5), Fault("air", 1.7), Fault("main_leak", 0.35)):
        found = diagnosed(fault)
        said = say(found, NAMES)
        assert 1 <= len(said.causes) <= 3
        assert all(one.share >= 0.05 for one in found.causes[: len(said.causes)])


def test_supply_causes_are_not_separated() -> None:
    said = say(diagnosed(Fault("pump_low", 0.35), ports=()), NAMES)
    assert said.headline == "Likely: the supply: pump, filter, main line."
    assert {one.cause for one in said.causes} <= set(GROUPS["supply"])
    assert "a leak in the main line and a weak pump look alike" in " ".join(said.unseen)


def test_within_scatter_names_no_cause_but_what_stays_unseen() -> None:
    said = say(diagnosed(Fault("healthy"), ports=()), NAMES)
    assert said.headline == "The readings are within this aircraft's normal scatter."
    assert (said.group, said.causes) == ("", ())
    assert said.unseen[0].startswith("No panel port was read")
    assert said.cell == CELLS["normal", "normal"]


def test_fluid_where_it_should_not_be_is_never_waved_away() -> None:
    assert say(diagnosed(Fault("healthy"), wet=YES), NAMES).headline.endswith(WET_ANYWAY)


def test_no_single_cause_asks_for_the_readings_again() -> None:
    said = say(diagnosed(Fault("healthy"), pressure=270.0, flow=80.0, ports=(60.0, 5.0, *[20.0] * 6)), NAMES)
    assert said.verdict == NO_FIT
    assert said.headline == "No single cause fits these readings; take the readings again."
    assert said.causes == ()


def test_below_half_nothing_is_called_likely() -> None:
    plain = diagnosed(Fault("pump_low", 0.5))
    spread = replace(plain, verdict=RANKED, groups=(("supply", 0.45), ("panels", 0.4)))
    assert say(spread, NAMES).headline == "These readings cannot separate the causes."


def test_what_fits_poorly_is_never_called_likely() -> None:
    """One port high and one low: no single fault of the model, and not far enough out to be refused."""
    ports = (32.0, 14.0, *[20.0] * 6)
    said = say(diagnosed(Fault("healthy"), ports=ports), NAMES)
    assert said.verdict == RANKED
    assert said.doubt == FITS_POORLY
    assert said.headline.startswith(("Possible", "These readings cannot separate"))
    assert "likely" not in {one.word for one in said.causes}
    assert say(diagnosed(Fault("panel_blocked", 0.8, 2)), NAMES).doubt == ""


def test_missing_readings_are_named() -> None:
    lacking = replace(diagnosed(Fault("healthy")), ratios=Ratios(1.0, None, None, None, ()), flow="")
    said = say(lacking, NAMES)
    assert any("nozzle flow" in line for line in said.unseen)
    assert any("time to settle" in line for line in said.unseen)
    assert said.cell == ""


def test_each_cause_has_words_and_a_further_check_of_what_was_not_read() -> None:
    assert set(CAUSE_WORDS) == set(CAUSES)
    assert set(GROUP_WORDS) == set(GROUPS)
    assert len(CELLS) == 9
    for cause in CAUSES:
        ways = [
            {"ports_open": ports, "drawdown_read": drawdown, "panel_known": known}
            for ports in (True, False)
            for drawdown in (True, False)
            for known in (True, False)
        ]
        assert all(further_check(CauseShare(cause, 0.5), **way) for way in ways)
    pump, panel = CauseShare("pump_low", 0.5), CauseShare("panel_blocked", 0.5)
    assert "tank" in further_check(pump, ports_open=False, drawdown_read=False)
    assert "tank" not in further_check(pump, ports_open=False, drawdown_read=True)
    assert "Read the panel ports" in further_check(panel, ports_open=True, drawdown_read=True)
    assert "this panel" in further_check(panel, ports_open=False, drawdown_read=True)
    assert "every panel" in further_check(panel, ports_open=False, drawdown_read=True, panel_known=False)


def test_an_installation_without_ports_is_not_asked_to_read_them() -> None:
    found = diagnosed(Fault("all_fouled", 0.8), ports=())
    asked, not_asked = say(found, NAMES), say(found, NAMES, has_ports=False)
    assert asked.causes[0].further_check.startswith("Read the panel ports")
    assert not_asked.causes[0].further_check.startswith("Purge as the manual says")
    assert asked.unseen[0].startswith("No panel port was read")
    assert not_asked.unseen[0] == "This installation has no panel ports: no single panel can be named."


def test_what_the_screen_must_say() -> None:
    text = " ".join(CAVEATS)
    for words in (
        "Advisory",
        "approved limits and manual decide",
        "do not show that every panel flows",
        "unless panel ports are read",
        "fluid in the lines",
        "constant delivery",
        "relief valve closed",
        "one fault at a time",
        "unchanged fluid mixture",
    ):
        assert words in text
    assert ALIKE in CAVEATS
    assert HIDDEN_PANELS in CAVEATS


def test_a_wrong_mixture_is_said_with_what_would_explain_it() -> None:
    """0.7 of the viscosity at 20 °C: ln 0.7 is 9 degrees of 0.04; the mixture formula has 0.695 at 75 %."""
    said = say(diagnosed(Fault("viscosity", 0.7)), NAMES)
    line = next(one for one in said.causes if one.cause == "viscosity")
    assert line.further_check.endswith(
        "The pressure would fit fluid of about 29 °C in place of 20 °C, or a mixture of about 76 % in place "
        "of 85 %."
    )
    others = [one for one in said.causes if one.cause != "viscosity"]
    assert not any("would fit" in one.further_check for one in others)


@pytest.mark.parametrize(
    ("ratio", "temperature", "told"),
    [
        (None, 20.0, ""),
        (1.0, 20.0, ""),
        (1.7, 20.0, " The pressure would fit fluid of about 8 °C in place of 20 °C."),
        (0.7, -5.0, " The pressure would fit fluid of about 2 °C in place of −5 °C."),
        (9.0, 20.0, ""),
    ],
)
def test_what_would_explain_a_pressure(ratio: float | None, temperature: float, told: str) -> None:
    assert as_if(ratio, temperature) == told
