"""manage.py drift_rule says what thresholds would have warned of, and touches no record."""

import io

import pytest
from django.core.management import CommandError, call_command


def said(**given: object) -> str:
    out = io.StringIO()
    call_command("drift_rule", stdout=out, fleets=1, aircraft=3, seed=2, **given)
    return out.getvalue()


def test_a_lower_threshold_never_warns_less() -> None:
    def false_alarms(text: str) -> float:
        line = next(line for line in text.splitlines() if line.startswith("false alarms"))
        return float(line.split(":")[1].split()[0])

    strict, loose = said(closing=1.0, drifting=1.0), said(closing=0.02, drifting=0.02)
    assert false_alarms(strict) == 0.0
    assert false_alarms(loose) > 0.0
    assert "Simulated truth, not field data" in strict
    assert "readings as first entered" in strict


def test_questioned_readings_have_thresholds_of_their_own() -> None:
    text = said(questioned=True)
    assert "questioned at entry" in text
    assert "closing above 0.3," in text


@pytest.mark.parametrize(
    ("given", "words"),
    [({"closing": 1.5}, "--closing is a probability"), ({"drifting": -0.1}, "--drifting is a probability")],
)
def test_what_is_no_probability_is_refused(given: dict[str, float], words: str) -> None:
    with pytest.raises(CommandError, match=words):
        said(**given)


def test_sizes_that_make_no_sense_are_refused() -> None:
    with pytest.raises(CommandError, match="--aircraft 1 to"):
        call_command("drift_rule", aircraft=0)
