"""Aircraft that move base and thereby meet a season earlier than they would at home."""

import datetime as dt
from dataclasses import dataclass

from checks.engine.season import Season, first_meeting
from checks.selectors.season import Facts, Task, line_for, season_of
from fleet.models import Aircraft, Base, PlannedMove


@dataclass(frozen=True)
class Earlier:
    """One warning. move: the planned move that does it; season: the date of the season that it meets; by:
    the day by which its tasks are wanted; home: the season date at its present base; running: the season
    has begun when it comes; open_tasks: what is not done for it."""

    aircraft: Aircraft
    move: PlannedMove
    season: dt.date
    by: dt.date
    home: dt.date
    running: bool
    open_tasks: tuple[Task, ...]


def earlier_seasons(facts: Facts) -> list[Earlier]:
    """The warnings, the most pressing first: moves by which a season is met earlier, and not all is done for
    it. One query for the bases."""
    bases = {base.pk: base for base in Base.objects.all()}
    seasons: dict[object, Season] = {pk: season_of(base) for pk, base in bases.items()}
    found = []
    for one in facts.aircraft:
        moves = facts.moves.get(one.pk, [])
        if not moves or one.state != Aircraft.State.IN_SERVICE:
            continue
        met = first_meeting(facts.today, one.base_id, seasons, [(move.on, move.base_id) for move in moves])
        home = seasons[one.base_id].next_from(facts.today)
        if met.place == one.base_id or met.by >= home:
            continue
        move = next(m for m in reversed(moves) if m.base_id == met.place and m.on <= met.by)
        line = line_for(facts, one, bases[move.base_id], met.season)
        if line.open_tasks:
            found.append(Earlier(one, move, met.season, met.by, home, met.running, line.open_tasks))
    return sorted(found, key=lambda row: (row.by, row.aircraft.registration))
