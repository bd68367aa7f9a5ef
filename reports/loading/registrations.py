"""Aircraft by registration, as the rows of a file name them."""

from fleet.models import Aircraft
from reports.loading.problems import Bad


class Registrations:
    """All aircraft, read once."""

    def __init__(self) -> None:
        fleet = Aircraft.objects.select_related("variant", "base")
        self.known = {aircraft.registration: aircraft for aircraft in fleet}

    def find(self, text: str) -> Aircraft:
        """The aircraft; case and spaces don't matter. Bad where it is not on file."""
        aircraft = self.known.get(text.upper().replace(" ", ""))
        if aircraft is None:
            raise Bad("registration", f"{text!r} is not on file. Load or enter the aircraft first")
        return aircraft
