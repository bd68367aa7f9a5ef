"""Freezes and signs the demo's checks through the pens of the signing services, each at its own time.

Every check is evaluated, frozen and linked as signing does it; only what can't differ between two checks is
worked out once: the evaluation of a revision that measures nothing, where all that was seen was in order.
"""

import datetime as dt

from django.db import connection

from checks.models import CheckEvent, Defect, FluidTaken, LimitTable, Procedure, Rectification, Signature
from checks.services.defects import keep_deferral, raise_for_event, written_deferral
from checks.services.evaluate import Evaluation, evaluate
from checks.services.freeze import fluid_taken, freeze, write_signature
from checks.services.kept import link
from checks.services.persons import Signatory, authorised
from checks.services.sign import STATEMENTS
from fleet.models import Authorisation, User
from reports.demo.master import Master
from reports.demo.plan import Planned

TAKES = dt.timedelta(minutes=45)
LATER = dt.timedelta(minutes=2)
EVENTS_BETWEEN_COUNTS = 150
DEFERRED_BY, RECTIFIED_BY = "controller1", "releaser1"
MEL = {"pressure-flow": "30-10-01", "wet-out": "30-10-02"}  # item of the MEL by what found the defect
ACTS = {
    Signature.Act.PERFORMED: Authorisation.Act.PERFORM,
    Signature.Act.INSPECTED: Authorisation.Act.INSPECT,
    Signature.Act.RELEASED: Authorisation.Act.RELEASE,
}
Pairs = list[tuple[Planned, CheckEvent]]


class Signing:
    """Signs planned events in the order given, which is the order of time for each aircraft."""

    def __init__(self, master: Master, signed: Pairs) -> None:
        self.master, self.signed = master, signed
        self.measuring = set(LimitTable.objects.values_list("revision", flat=True))
        self.known: dict[int, Evaluation] = {}  # by revision, where nothing is measured
        self.signatories: dict[tuple[str, str, str], Signatory] = {}
        self.first = {(p.aircraft, p.ended_by): e for p, e in signed if p.end == "rectified"}

    def sign(self) -> None:
        """Everything."""
        alike = [pair for pair in self.signed if self._alike(*pair)]
        self._freeze_alike(alike)
        frozen = {event.pk for _, event in alike}
        for number, (plan, event) in enumerate(self.signed):
            if number % EVENTS_BETWEEN_COUNTS == 0:
                count_rows()
            at = event.started_at + TAKES
            if event.pk not in frozen:
                freeze(event=event, evaluation=self._evaluation(plan, event), at=at)
            self._signatures(plan, event, at)
        count_rows()

    def _alike(self, plan: Planned, event: CheckEvent) -> bool:
        """A check that measures nothing against a limit and found everything in order."""
        simple = event.revision.procedure.kind == Procedure.Kind.CHECK
        return simple and event.revision_id not in self.measuring and not plan.unsatisfactory

    def _freeze_alike(self, pairs: Pairs) -> None:
        """What `freeze` writes for such a check, for all of them at once: but the fluid no rows beside it."""
        for plan, event in pairs:
            evaluation = self._evaluation(plan, event)
            event.outcome = evaluation.outcome
            event.outcome_reason = "\n".join(evaluation.reasons)
            event.next_action = evaluation.next_action
            event.state, event.signed_at = CheckEvent.State.SIGNED, event.started_at + TAKES
        taken = [one for _, event in pairs for one in fluid_taken(event)]
        FluidTaken.objects.bulk_create(taken, batch_size=500)
        fields = ["outcome", "outcome_reason", "next_action", "state", "signed_at"]
        CheckEvent.objects.bulk_update([event for _, event in pairs], fields, batch_size=100)

    def _evaluation(self, plan: Planned, event: CheckEvent) -> Evaluation:
        if event.revision_id in self.measuring or plan.unsatisfactory:
            return _complete(evaluate(event))
        if event.revision_id not in self.known:
            self.known[event.revision_id] = _complete(evaluate(event))
        return self.known[event.revision_id]

    def _signatures(self, plan: Planned, event: CheckEvent, at: dt.datetime) -> None:
        self._signature(event, Signature.Act.PERFORMED, plan.performed_by, at)
        defect = raise_for_event(event=event, by=self.master.people[plan.performed_by], at=at)
        if defect and plan.end == "deferred":
            self._defer(defect, plan, at + LATER)
        if plan.inspected_by:
            self._signature(event, Signature.Act.INSPECTED, plan.inspected_by, at + LATER)
        if (plan.aircraft, plan.key) in self.first:
            self._rectify(self.first[plan.aircraft, plan.key].defect, event, at + LATER)
        if plan.released_by:
            self._signature(event, Signature.Act.RELEASED, plan.released_by, at + 2 * LATER)

    def _signature(self, event: CheckEvent, act: str, who: str, at: dt.datetime) -> None:
        signatory = self._signatory(who, ACTS[Signature.Act(act)], event)
        statement = STATEMENTS[Signature.Act(act)]
        write_signature(event=event, act=act, signatory=signatory, statement=statement, at=at)

    def _signatory(self, who: str, act: str, event: CheckEvent) -> Signatory:
        """One authorisation for each act covers the whole history; the planner keeps to its days."""
        variant = event.aircraft.variant
        key = (who, act, variant.code)
        if key not in self.signatories:
            person = self.master.people[who]
            self.signatories[key] = authorised(person, act, variant, {event.work_date})
        return self.signatories[key]

    def _defer(self, defect: Defect, plan: Planned, at: dt.datetime) -> None:
        deferral = written_deferral(
            defect=defect,
            item=self.master.mel[MEL[plan.code]],
            recorded_on=plan.day,
            by=self._person(DEFERRED_BY),
            at=at,
            maintenance_confirmed=True,
            operations_confirmed=True,
            placard_placed=True,
        )
        keep_deferral(deferral)

    def _rectify(self, defect: Defect, retest: CheckEvent, at: dt.datetime) -> None:
        by = "releaser3" if retest.base.code == "farcape" else RECTIFIED_BY
        rectification = Rectification(
            defect=defect,
            retest=retest,
            text="Cleared as recorded in the checks that follow; retest within limits.",
            rectified_by=self._person(by),
            rectified_at=at,
        )
        signatory = self._signatory(by, Authorisation.Act.RELEASE, retest)
        link(
            rectification,
            aircraft=defect.aircraft,
            act="rectification",
            name="rectification",
            at=at,
            more={"signature": signatory.payload()},
        )

    def _person(self, username: str) -> User:
        return self.master.people[username]


def count_rows() -> None:
    """Let PostgreSQL count what it holds by now: in one long transaction it would plan for empty tables."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


def _complete(evaluation: Evaluation) -> Evaluation:
    """Nobody could have signed it otherwise. ValueError where a plan leaves something out."""
    if not evaluation.complete:
        raise ValueError("; ".join(problem.message for problem in evaluation.missing))
    return evaluation
