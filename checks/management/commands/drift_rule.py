"""What would this rule have warned of? Thresholds in, false alarms and warnings in simulated fleets out."""

from argparse import ArgumentParser

from django.core.management.base import BaseCommand, CommandError

from checks.engine.drift import Thresholds
from checks.engine.simulate_rule import pooled, what_would_have_been

MOST_AIRCRAFT = 200


class Command(BaseCommand):
    """Touches no record: it simulates fleets whose truth is known, and watches them check by check."""

    help = (
        "Says what thresholds for 'closing' and 'drifting' would have warned of in simulated fleets of six "
        "years, 8 panels an aircraft. Simulated truth, not field data; no record is read or changed."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        usual = Thresholds()
        parser.add_argument(
            "--closing", type=float, help=f"chance to cross before the next check; now {usual.closing:g}"
        )
        parser.add_argument("--drifting", type=float, help=f"chance of a drift; now {usual.drifting:g}")
        parser.add_argument("--fleets", type=int, default=3, help="how many fleets (3); about 10 s each")
        parser.add_argument("--aircraft", type=int, default=24, help="aircraft in each fleet (24)")
        parser.add_argument("--seed", type=int, default=1, help="number of the first fleet (1)")
        parser.add_argument(
            "--questioned",
            action="store_true",
            help="readings far from their forecast are taken again at entry; now "
            f"{usual.questioned_closing:g} and {usual.questioned_drifting:g}",
        )

    def handle(self, **given: object) -> None:
        fleets, aircraft, first = (int(str(given[name])) for name in ("fleets", "aircraft", "seed"))
        if fleets < 1 or not 1 <= aircraft <= MOST_AIRCRAFT or first < 0:
            raise CommandError(
                f"--fleets must be 1 or more, --aircraft 1 to {MOST_AIRCRAFT}, --seed 0 or more."
            )
        questioned = bool(given["questioned"])
        usual = Thresholds().of_questioned if questioned else Thresholds()
        closing, drifting = (
            _chance(name, given[name], getattr(usual, name)) for name in ("closing", "drifting")
        )
        records = what_would_have_been(
            Thresholds(closing, drifting, closing, drifting),
            seeds=range(first, first + fleets),
            aircraft=aircraft,
            questioned=questioned,
        )
        found = pooled(records)
        rates = [one.false_alarms for one in records]
        self.stdout.write(
            f"closing above {closing:g}, drifting above {drifting:g}, readings "
            f"{'questioned at entry' if questioned else 'as first entered'}; {fleets} simulated "
            f"{'fleet' if fleets == 1 else 'fleets'} of "
            f"{aircraft} aircraft, {found.healthy_years:.0f} healthy panel-years"
        )
        self.stdout.write(
            f"false alarms in 100 healthy panel-years: {found.false_alarms:.2f} "
            f"(by fleet {min(rates):.2f} to {max(rates):.2f})"
        )
        self.stdout.write(
            f"gradual crossings of a limit: {found.crossings}, warned of one check ahead {found.ahead} "
            f"({100 * found.share(found.ahead):.0f} %), at any check before {found.before} "
            f"({100 * found.share(found.before):.0f} %)"
        )
        if len(found.date_errors):
            self.stdout.write(f"crossing date, median error at the last check: {found.date_error:.0f} days")
        self.stdout.write("Simulated truth, not field data: your fleet may differ.")


def _chance(name: str, given: object, usual: float) -> float:
    value = usual if given is None else float(str(given))
    if not 0 <= value <= 1:
        raise CommandError(f"--{name} is a probability: give a number from 0 to 1, not {value:g}.")
    return value
