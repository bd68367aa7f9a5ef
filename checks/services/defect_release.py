"""The release to service after a rectification, by an authorised person; an outcome releases nothing."""

from django.db import transaction
from django.utils import timezone

from checks.models import Defect, DefectRelease, Rectification, Signature
from checks.selectors.release import aircraft_obstacles
from checks.services.chain import locked_head
from checks.services.errors import RecordError, refuse_if
from checks.services.kept import base_day, link
from checks.services.persons import authorised, may, prove
from checks.services.sign import STATEMENTS
from fleet.models import Authorisation, User

STATEMENT = STATEMENTS[Signature.Act.RELEASED]


@transaction.atomic
def release_rectification(*, defect: Defect, by: User, password: str) -> DefectRelease:
    """Release the work of a rectification. RecordError lists all that the records hold against it."""
    at = timezone.now()
    may(by, "checks.release_check")
    prove(by, password)
    related = ("aircraft__variant", "aircraft__base", "rectification__record")
    defect = Defect.objects.select_related(*related).get(pk=defect.pk)
    locked_head(defect.aircraft)
    rectification: Rectification | None = getattr(defect, "rectification", None)
    if rectification is None:
        raise RecordError("It is not signed as rectified yet. That signature comes first.")
    earlier = DefectRelease.objects.filter(rectification=rectification).first()
    if earlier:
        raise RecordError(f"Already signed as released by {earlier.name} on {earlier.signed_at:%d %b %Y}.")
    days = {base_day(defect.aircraft, at)}
    signatory = authorised(by, Authorisation.Act.RELEASE, defect.aircraft.variant, days)
    refuse_if(aircraft_obstacles(defect.aircraft_id, at))
    release = DefectRelease(
        rectification=rectification,
        person=by,
        name=signatory.name,
        certificate_number=signatory.certificate_number,
        certificate_kind=signatory.certificate_kind,
        authorisation=signatory.authorisation,
        statement=STATEMENT,
        signed_at=at,
    )
    more = {"rectified_in": rectification.record.hash}
    link(release, aircraft=defect.aircraft, act="defect release", name="release", at=at, more=more)
    return release
