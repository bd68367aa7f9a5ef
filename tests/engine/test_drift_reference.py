"""Compensation: the reference table, and viscosity beyond it."""

import numpy as np
import pytest

from checks.engine.drift_reference import Reference, compensate, ln_viscosity_ratio
from tests.engine.drift_cases import LIMIT, NOMINAL, TABLE, joined, series_readings


def test_a_row_of_the_table_comes_back_as_it_stands_and_between_rows_ln_is_straight():
    table = Reference((0.0, 10.0, 20.0), (400.0, 200.0, 100.0), 80.0)
    assert table.at([0.0, 10.0, 20.0]) == pytest.approx([400.0, 200.0, 100.0], rel=1e-12)
    assert float(table.at(5.0)) == pytest.approx(np.sqrt(400.0 * 200.0), rel=1e-12)


def test_beyond_the_table_the_end_row_follows_viscosity():
    # Published ratios of such fluids between 0 and 20 °C lie in 2.4 to 2.8; see tests of fluid.py.
    assert 2.4 < float(TABLE.at(0.0)) / LIMIT < 2.8
    flow = Reference((20.0,), (100.0,), 80.0, viscosity_exponent=0.0)
    assert float(flow.at(0.0)) == pytest.approx(100.0, rel=1e-12)


@pytest.mark.parametrize("temperature", [-10.1, 35.1, 60.0])
def test_where_neither_table_nor_viscosity_reaches_nothing_is_said(temperature):
    assert np.isnan(TABLE.at(temperature))
    assert np.isnan(ln_viscosity_ratio(temperature))


def test_a_table_reaching_further_than_the_viscosity_law_serves_over_its_whole_width():
    wide = Reference((-20.0, 20.0, 40.0), (800.0, 100.0, 60.0), 70.0)
    assert np.isfinite(wide.at([-20.0, -15.0, 40.0])).all()
    assert np.isnan(wide.at(-20.5))


@pytest.mark.parametrize(
    ("temperatures", "values", "nominal", "kind", "said"),
    [
        ((), (), 100, "upper", "at least one row"),
        ((0, 20), (100,), 100, "upper", "at least one row"),
        ((20, 20), (100, 90), 100, "upper", "must rise"),
        ((20,), (0,), 100, "upper", "above zero"),
        ((20,), (150,), 0, "upper", "above zero"),
        ((50,), (150,), 100, "upper", "nothing about 20"),
        ((20,), (150,), 100, "lower", "upper limit only"),
    ],
)
def test_a_table_that_cannot_serve_is_refused_with_the_reason(temperatures, values, nominal, kind, said):
    with pytest.raises(ValueError, match=said):
        Reference(temperatures, values, nominal, kind=kind)


def test_a_nominal_reading_is_zero_and_the_limit_is_lim_at_every_temperature():
    temperatures = np.array([-10.0, 0.0, 20.0, 35.0])
    at_nominal, _ = compensate(series_readings(np.zeros(4), temperature=temperatures), {0: TABLE})
    at_limit, _ = compensate(series_readings(np.full(4, TABLE.lim), temperature=temperatures), {0: TABLE})
    assert at_nominal == pytest.approx(np.zeros(4), abs=1e-12)
    assert at_limit == pytest.approx(np.full(4, np.log(LIMIT / NOMINAL)), rel=1e-12)


def test_rounding_variance_is_that_of_the_resolution():
    # GUM F.2.2.1 (quoted from memory in our reference list): u = 0.29 times the resolution; relative in ln.
    readings = series_readings([0.0])
    coarse = type(readings)(*[*(getattr(readings, n) for n in list(vars(readings))[:-1]), np.array([2.0])])
    _, variance = compensate(coarse, {0: TABLE})
    assert np.sqrt(variance[0]) == pytest.approx(0.29 * 2.0 / NOMINAL, rel=0.005)


def test_a_group_without_reference_is_named():
    with pytest.raises(KeyError, match="group 7"):
        compensate(
            joined(series_readings([0.0]), series_readings([0.0], life=1, series=1, group=7)), {0: TABLE}
        )
