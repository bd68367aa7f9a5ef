"""Who signs: the person, proved by the password, with the authorisation that covers the work."""

import datetime as dt
from dataclasses import dataclass

from checks.services.errors import Problem, RecordError
from fleet import tries
from fleet.models import Authorisation, User, Variant

NO_PASSWORD = "The password is not right. Type your own password again; nothing was signed."

TOO_MANY = (
    f"Too many wrong passwords: your signature is closed for {tries.CLOSED_MINUTES} minutes. What you typed "
    "is kept; nothing was signed. If you forgot your password, ask the director of maintenance."
)


@dataclass(frozen=True)
class Signatory:
    """Name, certificate and authorisation as they are written beside a signature."""

    person: User
    name: str
    certificate_number: str
    certificate_kind: str
    authorisation: str

    def payload(self) -> dict[str, object]:
        return {
            "person": self.person.pk,
            "name": self.name,
            "certificate_number": self.certificate_number,
            "certificate_kind": self.certificate_kind,
            "authorisation": self.authorisation,
        }


def may(person: User, permission: str) -> None:
    """RecordError unless the person is active and the role holds the permission."""
    if not person.has_perm(permission):
        raise RecordError(f"{person} may not do this: the role lacks it. Ask a person whose role it is.")


def prove(person: User, password: str) -> None:
    """RecordError unless it is the person's own password, or where too many wrong ones came before it."""
    if tries.are_used_up(person):
        raise RecordError(TOO_MANY, field="password")
    if not tries.is_own(person, password):
        raise RecordError(NO_PASSWORD, field="password")


def authorised(person: User, act: str, variant: Variant, days: set[dt.date]) -> Signatory:
    """The person with an authorisation in force for the act and variant on every one of the days.

    RecordError says which day is not covered and what is on file. Two queries.
    """
    held = [
        one
        for one in Authorisation.objects.filter(user=person, act=act).prefetch_related("variants")
        if not one.variants.all() or variant in one.variants.all()
    ]
    covering = [one for one in held if all(_covers(one, day) for day in days)]
    relied_on = covering[:1] or _one_for_each(held, days)
    if not person.certificate_number or not person.certificate_kind:
        raise RecordError(
            f"{person} has no certificate number and kind on file. Ask the director of maintenance."
        )
    return Signatory(
        person,
        person.get_full_name() or person.username,
        person.certificate_number,
        person.certificate_kind,
        "; ".join(_words(one) for one in relied_on)[:120],
    )


def _covers(one: Authorisation, day: dt.date) -> bool:
    return one.valid_from <= day and (one.valid_until is None or day <= one.valid_until)


def _one_for_each(held: list[Authorisation], days: set[dt.date]) -> list[Authorisation]:
    found: list[Authorisation] = []
    for day in sorted(days):
        match = next((one for one in held if _covers(one, day)), None)
        if match is None:
            on_file = "; ".join(str(one) for one in held) or "none for this act and variant"
            raise RecordError(
                Problem(
                    f"No authorisation in force on {day:%d %b %Y}. On file: {on_file}. "
                    "Ask the director of maintenance, or a person who holds one."
                )
            )
        if match not in found:
            found.append(match)
    return found


def _words(one: Authorisation) -> str:
    until = f"until {one.valid_until:%d %b %Y}" if one.valid_until else "without end"
    return f"{one.reference}, {until}"
