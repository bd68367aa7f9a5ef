"""A large invented fleet for benchmarks: records, utilisation and due points in every state, seeded."""

import datetime as dt
import random
import time
import uuid
from collections.abc import Callable, Iterator
from decimal import Decimal

from django.db import connection
from django.utils import timezone

from checks.models import CautionFollowed, CheckEvent, Defect, Procedure, RecurringCheck, Revision
from fleet.models import Aircraft, UtilisationEntry
from tests.guards import guards_lifted
from tests.world import World

WEEKS = 13
TERMS: tuple[dict[str, object], ...] = (
    {"interval_days": 180, "tolerance_days": 10},
    {"interval_months": 12, "to_month_end": True, "tolerance_days": 30, "counting": "keep grid"},
    {"interval_hours": 400, "interval_months": 6, "tolerance_hours": 20, "tolerance_days": 15},
    {"interval_landings": 900, "tolerance_landings": 40, "counting": "excess counts"},
    {"interval_hours": 300, "before_season": True, "season_window_days": 60},
)


def generate(world: World, *, aircraft: int, tasks: int, seed: int = 11) -> None:
    """So many aircraft of the forward variant over four bases, each with so many tasks, one record of most of
    them, and a total each week of the last quarter."""
    rng, by = random.Random(seed), world.person("technician1")
    variant = world.forward.variant
    revisions = _tasks(world, tasks, by)
    bases = list(world.master.bases.values())
    fleet = Aircraft.objects.bulk_create(
        Aircraft(
            registration=f"Q-X{n:04}",
            serial_number=f"X{n}",
            type_name="Demo Single",
            variant=variant,
            base=bases[n % len(bases)],
            entered_service_on=dt.date(2018, 1, 1),
            state=Aircraft.State.STORED if n % 50 == 0 else Aircraft.State.IN_SERVICE,
        )
        for n in range(aircraft)
    )
    with guards_lifted(connection):
        UtilisationEntry.objects.bulk_create(_use(fleet, by, rng), batch_size=500)
        CheckEvent.objects.bulk_create(_events(fleet, revisions, by, rng), batch_size=500)


def _tasks(world: World, number: int, by: object) -> list[Revision]:
    """So many tasks of every kind instead of the world's own, each with a revision to follow."""
    RecurringCheck.objects.update(active=False)
    revisions = []
    for n in range(number):
        procedure = Procedure.objects.create(
            variant=world.forward.variant, code=f"task-{n}", title=f"Task {n:02}"
        )
        RecurringCheck.objects.create(procedure=procedure, **TERMS[n % len(TERMS)])
        revisions.append(
            Revision.objects.create(
                procedure=procedure,
                number="1",
                source_reference="invented",
                typed_by=by,
                effective_on=dt.date(2018, 1, 1),
            )
        )
    return revisions


def _use(fleet: list[Aircraft], by: object, rng: random.Random) -> Iterator[UtilisationEntry]:
    today = timezone.localdate()
    for one in fleet:
        hours, landings = Decimal(rng.randrange(200_000, 600_000)) / 100, rng.randrange(2000, 6000)
        for week in range(WEEKS, -1, -1):
            yield UtilisationEntry(
                aircraft=one,
                on=today - dt.timedelta(days=7 * week),
                hours=hours,
                landings=landings,
                entered_by=by,
            )
            hours += Decimal(rng.randrange(300, 3000)) / 100
            landings += rng.randrange(2, 40)


def _events(
    fleet: list[Aircraft], revisions: list[Revision], by: object, rng: random.Random
) -> Iterator[CheckEvent]:
    """One record of each task, two where it counts from old due points; one in fifty was never done."""
    today, zone = timezone.localdate(), dt.UTC
    for one in fleet:
        for n, revision in enumerate(revisions):
            if rng.random() < 0.02:
                continue
            counts_on = "counting" in TERMS[n % len(TERMS)]
            for back in (rng.randrange(200, 400), rng.randrange(0, 190))[0 if counts_on else 1 :]:
                on = today - dt.timedelta(days=back)
                yield CheckEvent(
                    uuid=uuid.UUID(int=rng.getrandbits(128), version=4),
                    aircraft=one,
                    revision=revision,
                    base_id=one.base_id,
                    state=CheckEvent.State.SIGNED,
                    signed_at=dt.datetime.combine(on, dt.time(12), zone),
                    work_date=on,
                    started_by=by,
                    outcome=CheckEvent.Outcome.DONE,
                    hours=Decimal(rng.randrange(150_000, 600_000)) / 100,
                    landings=rng.randrange(1500, 6000),
                )


def trouble(world: World, *, seed: int = 12) -> None:
    """What stands against flight in icing besides due points, on a few aircraft in a hundred of each: open
    defects, newest checks that are not valid, drafts that left something disturbed, deactivated systems."""
    rng, by = random.Random(seed), world.person("technician1")
    fleet = list(Aircraft.objects.filter(registration__startswith="Q-X").order_by("pk"))
    work, off = (Revision.objects.get(procedure__code=code) for code in ("task-0", "task-1"))
    Procedure.objects.filter(pk=off.procedure_id).update(use_after=Procedure.UseAfter.IN_USE)
    down = Procedure.objects.create(
        variant=world.forward.variant,
        code="off",
        title="Deactivation",
        use_after=Procedure.UseAfter.DEACTIVATED,
    )
    given = {"source_reference": "invented", "typed_by": by, "effective_on": dt.date(2018, 1, 1)}
    down = Revision.objects.create(procedure=down, number="1", **given)
    step = work.steps.create(number=1, kind="confirm", text="Blank off.", restore_text="Take the blank off.")
    now, today = timezone.now(), timezone.localdate()

    def events(revision: Revision, each: int, **how: object) -> list[CheckEvent]:
        signed = {"state": CheckEvent.State.SIGNED, "signed_at": now, "outcome": CheckEvent.Outcome.DONE}
        return [
            CheckEvent(
                uuid=uuid.UUID(int=rng.getrandbits(128), version=4),
                aircraft=one,
                revision=revision,
                base_id=one.base_id,
                work_date=today - dt.timedelta(days=rng.randrange(30)),
                started_by=by,
                **signed | how,
            )
            for one in rng.sample(fleet, len(fleet) // each)
        ]

    drafts = events(work, 100, state=CheckEvent.State.DRAFT, signed_at=None, outcome="")
    with guards_lifted(connection):
        for made in (
            drafts,
            events(work, 50, outcome=CheckEvent.Outcome.NOT_VALID, next_action="Repeat it."),
            events(down, 30),
        ):
            CheckEvent.objects.bulk_create(made, batch_size=500)
        CautionFollowed.objects.bulk_create(CautionFollowed(event=one, step=step) for one in drafts)
        Defect.objects.bulk_create(
            Defect(aircraft=one, description="Invented.", raised_by=by, raised_at=now)
            for one in rng.sample(fleet, len(fleet) // 30)
        )


def cpu(work: Callable[[], object]) -> float:
    """CPU seconds of one go."""
    before = time.process_time()
    work()
    return time.process_time() - before
