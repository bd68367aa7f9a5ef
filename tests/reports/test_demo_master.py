"""The demo's master data: valid by every rule of the models, typed and approved as the rules ask."""

import datetime as dt
import time
from decimal import Decimal

import pytest
from django.apps import apps

from checks.engine.limits import LimitRow, LimitTable, check_table
from checks.engine.units import UNITS
from checks.models import LimitTable as StoredTable
from checks.models import Revision
from fleet.models import Authorisation, Calibration, MeasuringPoint, Position
from tests.world import TODAY, build_world

pytestmark = pytest.mark.django_db


def test_every_row_is_valid():
    build_world()
    for model in [*apps.get_app_config("fleet").get_models(), *apps.get_app_config("checks").get_models()]:
        for row in model.objects.all():
            row.full_clean()


def test_building_is_quick():
    began = time.process_time()
    build_world()
    assert time.process_time() - began < 3


def test_limit_tables_raise_no_question_in_the_engine():
    build_world()
    tables = StoredTable.objects.prefetch_related("rows")
    assert len(tables) == 2 * 2 + 9 + 10 + 7  # forward has two pumps and a superseded revision
    for table in tables:
        rows = tuple(LimitRow(row.temperature, row.lower, row.upper) for row in table.rows.all())
        assert check_table(LimitTable(rows, table.kind, table.reading_rule)) == []
        assert table.unit in UNITS


def test_limits_are_not_the_figures_of_the_trade():
    """25 psi (172 kPa) two minutes into the test: common practice, no source. Demo limits are others."""
    build_world()
    for step in (s for r in Revision.objects.all() for s in r.steps.exclude(ceiling=None)):
        assert step.ceiling_after_seconds != 120
        assert not 165 < step.ceiling < 180


def test_every_revision_is_approved_by_another_and_one_is_superseded():
    build_world()
    assert not Revision.objects.filter(approved_at=None).exists()
    assert not [r for r in Revision.objects.all() if r.approved_by_id == r.typed_by_id]
    superseded = set(Revision.objects.all()) - set(Revision.objects.in_force(TODAY))
    assert [(r.procedure.code, r.number) for r in superseded] == [("pressure-flow", "1")]


def test_each_panel_resets_its_own_port_and_no_other():
    world = build_world()
    for position in Position.objects.filter(kind=Position.Kind.PANEL).prefetch_related("resets"):
        ports = [p for p in position.resets.all() if p.kind == MeasuringPoint.Kind.PANEL_PORT]
        expected = [position.code] if position.variant == world.underfloor.variant else []
        assert [p.position.code for p in ports] == expected
        assert {p.code for p in position.resets.all()} >= {"port", "nozzle"}


def test_one_authorisation_has_expired_and_two_gauges_do_not_serve():
    build_world()
    expired = Authorisation.objects.filter(valid_until__lt=TODAY)
    assert [a.user.username for a in expired] == ["technician6"]
    serving = {c.instrument.code for c in Calibration.objects.covering(TODAY)}
    assert {"gauge-1", "gauge-2", "gauge-3", "gauge-4"} <= serving
    assert "gauge-5" not in serving


def test_dates_move_with_today():
    world = build_world(today=dt.date(2031, 1, 1))
    assert world.revision(world.forward).effective_on == dt.date(2031, 1, 1) - dt.timedelta(days=640)


def test_what_is_handed_back_is_as_stored():
    world = build_world()
    assert isinstance(world.point(world.forward, "port").nominal, Decimal)
    assert isinstance(world.instrument("gauge-1").resolution, Decimal)
    assert world.revision(world.forward).approved_by == world.person("director1")
