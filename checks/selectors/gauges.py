"""Which instrument reads high or low beside the others, by the fit of the whole fleet."""

from collections import Counter
from dataclasses import dataclass
from math import expm1

from django.db.models import Exists, OuterRef
from django.utils import timezone

from checks.models import CheckEvent, DriftRun, Reading
from checks.selectors.drift import latest_run
from checks.selectors.drift_words import share_words
from fleet.models import Instrument, Operator, ReferenceRow

HIGH, LOW, NONE, ALONE = "reads high", "reads low", "no difference", "no comparison"
#: an effect within so many of its standard deviations is none to speak of
SDS = 2
#: with a standard deviation still so near to that before any reading, nothing was learnt
LEARNT = 0.9


@dataclass(frozen=True)
class GaugeRow:
    """One instrument. effect: share by which it reads above the usual, 0.007 = 0.7 %; give: two standard
    deviations; readings: of followed points taken with it in checks that stand. verdict ALONE: what was read
    with it was hardly ever read with another, so it can't be told from how those systems are."""

    instrument: Instrument
    effect: float
    give: float
    readings: int
    verdict: str

    @property
    def effect_words(self) -> str:
        return "–" if self.verdict == ALONE else f"{self.effect * 100:+.1f} %".replace("-", "−")

    @property
    def give_words(self) -> str:
        return f"±{self.give * 100:.1f} %"


def gauge_rows() -> tuple[DriftRun | None, list[GaugeRow]]:
    """The newest fit and what it says of every instrument, the largest effects first. Four queries."""
    run = latest_run()
    if run is None:
        return None, []
    fit = run.parameters["fit"]
    effects = {int(key): value for key, value in fit["gauges"].items()}
    known = Instrument.objects.with_calibration(timezone.localdate(), Operator.current().due_soon_days)
    number = _readings()
    rows = [
        _row(one, effects[one.pk], fit["gauge_sds"][str(one.pk)], fit["new_gauge_sd"], number[one.pk])
        for one in known.filter(pk__in=effects).select_related("base")
    ]
    return run, sorted(rows, key=lambda row: (row.verdict == ALONE, -abs(row.effect), row.instrument.code))


def scatter_words(run: DriftRun) -> str:
    """How far one reading strays, against which an effect is to be seen."""
    return share_words(run.parameters["fit"]["s"])


def _readings() -> Counter[int]:
    """Readings of followed points by instrument. One query."""
    followed = Exists(ReferenceRow.objects.filter(point=OuterRef("point")))
    used = Reading.objects.filter(followed, event__in=CheckEvent.objects.standing(), instrument__isnull=False)
    used = used.exclude(role=Reading.Role.TEMPERATURE).order_by()
    return Counter(key for key, *_ in used.values_list("instrument", "event", "point").distinct())


def _row(instrument: Instrument, effect: float, sd: float, before: float, readings: int) -> GaugeRow:
    if sd > LEARNT * before:
        verdict = ALONE
    elif abs(effect) <= SDS * sd:
        verdict = NONE
    else:
        verdict = HIGH if effect > 0 else LOW
    return GaugeRow(instrument, expm1(effect), SDS * sd, readings, verdict)
