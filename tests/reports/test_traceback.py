"""The traceback on paper: what it says of each check, and that it says no more than the records."""

import io
from decimal import Decimal

import pytest
from pypdf import PdfReader

from checks.models import CheckEvent, InstrumentFinding
from reports.pdf.traceback import COLUMNS, traceback_pdf
from reports.traceback import InstrumentTraceback, instrument_traceback
from tests.checks.conftest import clock, world  # noqa: F401
from tests.checks.test_doubt import LOW, found, four, reviewed  # noqa: F401
from tests.world import World


def words(told: InstrumentTraceback) -> str:
    pages = PdfReader(io.BytesIO(traceback_pdf(told))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.fixture
def finding(world: World, four: list[CheckEvent]) -> InstrumentFinding:  # noqa: F811
    return found(world)


def test_it_says_as_recorded_and_with_the_error_corrected(
    finding: InstrumentFinding,
    four: list[CheckEvent],  # noqa: F811
) -> None:
    told = instrument_traceback(finding)
    assert (len(told.checks), told.would_change, told.in_doubt) == (4, 1, 4)
    (changed,) = [check for check in told.checks if check.would_change]
    record = four[2].signatures.get(act="performed").record
    assert changed.record == record.reference and changed.on == four[2].work_date
    assert (changed.recorded, changed.corrected) == (four[2].outcome, "over limit")
    paper = words(told)
    assert "reads 9.5 kPa too low" in paper and "Touched: 4; 1 would have had another outcome" in paper
    for check in told.checks:
        assert check.record in paper and check.shifts[0] in paper
    assert paper.count("in doubt") >= 4 and "would change" in paper


def test_it_says_who_reviewed_and_when(
    world: World,  # noqa: F811
    finding: InstrumentFinding,
    four: list[CheckEvent],  # noqa: F811
) -> None:
    reviewed(world, finding, four[2], accepted=False)
    told = instrument_traceback(finding)
    (check,) = [one for one in told.checks if one.review]
    assert check.state == "reviewed: to be repeated" and told.in_doubt == 3
    assert "Tested again." in check.review and "12 Mar 2025, record OPERATOR/" in check.review
    assert world.person("releaser1").certificate_number in check.review
    assert "to be repeated" in words(told)


def test_an_unknown_error_and_an_instrument_that_touched_nothing(
    world: World,  # noqa: F811
    four: list[CheckEvent],  # noqa: F811
) -> None:
    told = instrument_traceback(found(world, None))
    assert not told.error_known and {check.corrected for check in told.checks} == {"not known"}
    assert "can't be told, since the error is not known" in words(told)
    nothing = instrument_traceback(found(world, Decimal(2), code="gauge-2"))
    assert nothing.checks == () and "No signed check holds a reading of it" in words(nothing)


def test_a_finding_that_was_replaced_says_so(
    world: World,  # noqa: F811
    four: list[CheckEvent],  # noqa: F811
) -> None:
    first = found(world, None)
    second = found(world, LOW, replaces=first)
    assert second.record.reference in words(instrument_traceback(InstrumentFinding.objects.get(pk=first.pk)))


def test_columns_fill_a_landscape_sheet_and_no_more() -> None:
    """A4 is 297 mm wide, 841.9 points (ISO 216); margins of 42 points on both sides."""
    assert 740 <= sum(width for _, width in COLUMNS) <= 841.9 - 84
