"""The peers of the drift bench against published cases, so that they are beaten fairly."""

import numpy as np
import pytest

from tests.benchmarks.drift_peers import (
    NOTHING,
    by_ewma,
    by_individuals,
    by_limit,
    by_theil_sen,
    ewma,
    individuals_limits,
    theil_sen,
)
from tests.reference.tables import rows


def columns(name: str, *names: str) -> list[np.ndarray]:
    table = rows(name)
    return [np.array([float(row[column]) for row in table]) for column in names]


def test_individuals_chart_of_the_e_handbook() -> None:
    (x,) = columns("nist_6322_individuals.csv", "flowrate")
    low, centre, high = individuals_limits(x)
    assert centre == pytest.approx(50.81, abs=5e-3)
    assert (low, high) == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert ((x > low) & (x < high)).all()  # the handbook: no signal


def test_ewma_of_the_e_handbook() -> None:
    x, printed = columns("nist_6324_ewma.csv", "y", "ewma_printed")
    assert ewma(x, 0.3, 50.0) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize(
    ("name", "names", "slope", "level"),
    [
        ("epa_ug2009_ex17_6_sulfate.csv", ("Sampling.Date", "Sulfate.ppm"), 26.6666667, -1909.3333333),
        ("epa_ug2009_ex17_7_sodium.csv", ("Year", "Sodium.ppm"), 1.3333333, -65.9666667),
        ("sen_1968.csv", ("x", "y"), 4.0, None),
    ],
)
def test_published_theil_sen_slopes(
    name: str, names: tuple[str, str], slope: float, level: float | None
) -> None:
    found = theil_sen(*columns(name, *names))
    assert found[0] == pytest.approx(slope, abs=5e-7)
    if level is not None:
        assert found[1] == pytest.approx(level, abs=5e-6)


def test_each_rule_grows_with_a_rise_and_says_nothing_of_too_few_readings() -> None:
    t = np.arange(6) * 120.0
    calm = np.array([0.01, -0.01, 0.0, 0.01, -0.01, 0.0])
    rising = calm + 0.05 * np.arange(6)
    for rule in (by_limit, by_individuals, by_theil_sen, by_ewma):
        assert rule(t, rising, 720.0) > rule(t, calm, 720.0)
    for rule in (by_individuals, by_theil_sen, by_ewma):
        assert rule(t[:1], calm[:1], 240.0) == NOTHING
