"""What the demo shows of deferrals on purpose, all invented.

A pilot report under category A, one that expired, an extension that was approved and one that waits, a repeat
defect, a ferry permit, work done outside, the day since when an aircraft is stored.
"""

import datetime as dt

from checks.models import (
    Defect,
    DefectRelease,
    Deferral,
    Extension,
    ExtensionAnswer,
    FerryPermit,
    OutsideRelease,
    PartOrder,
    Record,
    Rectification,
    Signature,
)
from checks.services.chain import append, row
from checks.services.defects import keep_deferral, written_deferral
from checks.services.kept import link, unlinked
from checks.services.persons import authorised
from checks.services.sign import STATEMENTS
from fleet.models import Aircraft, Authorisation, User, UtilisationEntry
from reports.demo.cases import CASES
from reports.demo.master import Master

CONTROLLER, DIRECTOR, RELEASER, TECHNICIAN = "controller1", "director1", "releaser1", "technician2"
STORED_DAYS_AGO = 64


class Cases:
    """Writes each case through the pens of the services, at its own time."""

    def __init__(self, master: Master, fleet: list[Aircraft]) -> None:
        self.master = master
        self.fleet = {one.registration: one for one in fleet}
        self.used: set[str] = set()

    def quiet(self, days: int) -> str:
        """An aircraft in service, of no other case, whose chain has no link for so many days, since a chain
        runs forwards in time; empty where there is none."""
        since = self.at(days, 0)
        busy = Record.objects.filter(chain__aircraft__isnull=False, written_at__gte=since)
        taken = {*busy.values_list("chain__aircraft__registration", flat=True), *CASES, *self.used}
        found = next(
            (
                name
                for name, one in self.fleet.items()
                if name not in taken and one.state == Aircraft.State.IN_SERVICE
            ),
            "",
        )
        self.used.add(found)
        return found

    def person(self, name: str) -> User:
        return self.master.people[name]

    def at(self, days_ago: int, hour: int = 9) -> dt.datetime:
        return dt.datetime.combine(self.master.days_ago(days_ago), dt.time(hour, 20), dt.UTC)

    def defect(self, registration: str, days_ago: int, text: str, **more: object) -> Defect:
        """A finding entered by hand, recorded and typed on the same day."""
        aircraft = self.fleet[registration]
        place = more.pop("place", None)
        defect = Defect(
            aircraft=aircraft,
            position=self.master.positions[aircraft.variant.code, place] if place else None,
            description=text,
            recorded_on=self.master.days_ago(days_ago),
            raised_by=self.person(TECHNICIAN),
            raised_at=self.at(days_ago),
            **{"source": Defect.Source.HAND} | more,
        )
        defect.full_clean()
        defect.save(force_insert=True)
        append(aircraft=aircraft, act="defect", payload={"defect": row(defect)}, at=defect.raised_at)
        return defect

    def deferral(self, defect: Defect, number: str, days_ago: int) -> Deferral:
        deferral = written_deferral(
            defect=defect,
            item=self.master.mel[number],
            recorded_on=defect.recorded_on,
            by=self.person(CONTROLLER),
            at=self.at(days_ago, 11),
            maintenance_confirmed=True,
            operations_confirmed=True,
            placard_placed=True,
        )
        if deferral.limit_hours is not None:
            entries = UtilisationEntry.objects.standing().filter(aircraft=defect.aircraft)
            deferral.from_hours = entries.filter(on__lte=defect.recorded_on).order_by("-on").first().hours
        keep_deferral(deferral)
        return deferral

    def extension(self, deferral: Deferral, days_ago: int, more_days: int, why: str) -> Extension:
        asked = Extension(
            deferral=deferral,
            expires_on=deferral.expires_on + dt.timedelta(days=more_days),
            justification=why,
            asked_by=self.person(CONTROLLER),
            asked_at=self.at(days_ago, 8),
        )
        aircraft = deferral.defect.aircraft
        link(asked, aircraft=aircraft, act="extension asked", name="extension", at=asked.asked_at)
        return asked

    def approval(self, asked: Extension, days_ago: int, text: str) -> None:
        answer = ExtensionAnswer(
            extension=asked,
            defect=asked.deferral.defect,
            approved=True,
            text=text,
            answered_by=self.person(DIRECTOR),
            answered_at=self.at(days_ago, 10),
        )
        more = {"asked_in": asked.record.hash, "expires_on": asked.expires_on}
        aircraft = asked.deferral.defect.aircraft
        link(
            answer, aircraft=aircraft, act="extension answer", name="answer", at=answer.answered_at, more=more
        )

    def outside(self, defect: Defect, days_ago: int, text: str, **certificate: object) -> None:
        """Rectified outside, signed here with the certificate, and released."""
        at, aircraft = self.at(days_ago, 14), defect.aircraft
        signatory = authorised(
            self.person(RELEASER), Authorisation.Act.RELEASE, aircraft.variant, {at.date()}
        )
        rectification = Rectification(
            defect=defect, text=text, rectified_by=signatory.person, rectified_at=at
        )
        payload = {
            "rectification": unlinked(rectification),
            "signature": signatory.payload(),
            "outside": {**certificate, "digest": ""},
        }
        rectification.record = append(aircraft=aircraft, act="rectification", payload=payload, at=at)
        rectification.save(force_insert=True)
        OutsideRelease.objects.create(rectification=rectification, **certificate)
        release = DefectRelease(
            rectification=rectification,
            statement=STATEMENTS[Signature.Act.RELEASED],
            signed_at=at + dt.timedelta(minutes=5),
            **signatory.payload() | {"person": signatory.person},
        )
        more = {"rectified_in": rectification.record.hash}
        link(
            release, aircraft=aircraft, act="defect release", name="release", at=release.signed_at, more=more
        )

    def part(self, defect: Defect, days_ago: int, what: str, reference: str, expected_in: int) -> None:
        PartOrder.objects.create(
            defect=defect,
            what=what,
            reference=reference,
            expected_on=self.master.days_ago(-expected_in),
            entered_by=self.person(CONTROLLER),
            entered_at=self.at(days_ago, 12),
        )

    def ferry_permit(self, defect: Defect, days_ago: int) -> None:
        permit = FerryPermit(
            aircraft=defect.aircraft,
            defect=defect,
            number="FP-2231 (invented)",
            issuer="Invented authority, airworthiness office",
            valid_from=self.master.days_ago(days_ago - 1),
            valid_until=self.master.days_ago(-4),
            conditions="One flight to the main base by day, crew only, clear of known and forecast icing.",
            recorded_by=self.person(CONTROLLER),
            recorded_at=self.at(days_ago, 15),
        )
        link(permit, aircraft=defect.aircraft, act="ferry permit", name="permit", at=permit.recorded_at)


def load_deferrals(master: Master, fleet: list[Aircraft]) -> None:
    """Write every case, and the day since when the stored aircraft stands."""
    cases = Cases(master, fleet)
    stored = [one for one in fleet if one.state == Aircraft.State.STORED]
    for one in stored:
        one.state_since = master.days_ago(STORED_DAYS_AGO)
        one.save(update_fields=["state_since"])
    for days, case in ((17, _repeated), (7, _expired), (5, _extended), (4, _pilot_report)):
        if on := cases.quiet(days):
            case(cases, on)
    waiting = Deferral.objects.filter(defect__aircraft__registration="Q-AAAB").first()
    if waiting:
        cases.extension(waiting, 1, 7, "The panel is at the maker's shop; its slot is next week (invented).")


def _pilot_report(cases: Cases, on: str) -> None:
    """Category A in flight hours, counted against the utilisation."""
    defect = cases.defect(
        on,
        3,
        "Propeller took ice unevenly on the approach, slight vibration.",
        source=Defect.Source.PILOT,
        reported_by="Pilot 14",
        reference="TL 2207",
    )
    cases.deferral(defect, "30-20-02", 3)


def _extended(cases: Cases, on: str) -> None:
    defect = cases.defect(on, 4, "Metering pump does not change to the higher speed.")
    deferral = cases.deferral(defect, "30-10-03", 4)
    asked = cases.extension(deferral, 2, 3, "The pump ordered on the first day is held up at sea (invented).")
    cases.approval(asked, 2, "Agreed once; the pump is on the ferry of Thursday.")
    cases.part(defect, 4, "Metering pump, overhauled", "PO-5512", 1)


def _expired(cases: Cases, on: str) -> None:
    """Recorded six days ago under a category of three."""
    defect = cases.defect(
        on,
        6,
        "Fluid quantity reads zero with a full tank.",
        source=Defect.Source.PILOT,
        reported_by="Pilot 3",
        reference="TL 2198",
    )
    cases.deferral(defect, "30-60-01", 6)
    cases.part(defect, 5, "Quantity sender", "PO-5509", 3)
    cases.ferry_permit(defect, 2)


def _repeated(cases: Cases, on: str) -> None:
    """The same panel twice in a fortnight: repaired outside, then found again."""
    first = cases.defect(on, 16, "Bond of the panel lifts at its inner end.", place="wing-li")
    cases.outside(
        first,
        13,
        "Panel bonded anew by the shop that overhauled it; leak check and look over the panel in order.",
        organisation="Firth Composite Works (invented)",
        certificate_number="RC-7741",
        released_on=cases.master.days_ago(14),
    )
    again = cases.defect(on, 5, "Bond of the panel lifts again at its inner end.", place="wing-li")
    cases.deferral(again, "30-10-02", 5)
