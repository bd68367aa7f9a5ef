"""Learn the season of use and count all due points anew; every night, because estimated dates move on."""

from django.core.management.base import BaseCommand, CommandError, CommandParser

from checks.services.due import refresh_due
from checks.services.use_season import learn_use_season
from fleet.models import Aircraft


class Command(BaseCommand):
    help = "Count the due points of the fleet anew from the records and store them. Run it every night."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "registrations", nargs="*", metavar="registration", help="only these aircraft (default: all)"
        )

    def handle(self, *args: object, **options: object) -> None:
        wanted = set(options["registrations"])
        known = dict(Aircraft.objects.filter(registration__in=wanted).values_list("registration", "pk"))
        if missing := sorted(wanted - known.keys()):
            raise CommandError(f"Not in the fleet: {', '.join(missing)}. Nothing was counted.")
        if not wanted:
            learn_use_season()
        number = refresh_due(aircraft_ids=known.values() if wanted else None)
        self.stdout.write(f"{number} due points counted.")
