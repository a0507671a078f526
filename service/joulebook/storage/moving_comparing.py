"""Both sides of a move, piece by piece: which pieces there are, and whether they are the same."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from joulebook.errors import DataRefusedError
from joulebook.storage.moving_pairs import catalogue_told
from joulebook.storage.moving_quarters import Month, months_of
from joulebook.storage.moving_sides import Side
from joulebook.storage.moving_tables import EARLY
from joulebook.storage.moving_units import Rows, Told, Unit, differences
from joulebook.storage.moving_weeks import Week, weeks_of

#: What a difference of the site itself, its devices and series is called.
CATALOGUE = "the site, its devices and series"


@dataclass(slots=True)
class Tally:
    """What was compared, and how it came out.

    Attributes
    ----------
    compared, readings, written : int
        Pieces that were compared, readings in them, and pieces that were written before.
    counts : dict of str to int
        Rows by table, of what was compared by rows.
    differs, behind : list of str
        Where the copy is wrong, and where the source went on meanwhile.
    """

    compared: int = 0
    readings: int = 0
    written: int = 0
    counts: dict[str, int] = field(default_factory=dict)
    differs: list[str] = field(default_factory=list)
    behind: list[str] = field(default_factory=list)

    def note(self, unit: Unit, told: Told, other: Told, *, went_on: bool = False) -> None:
        """Note what both sides have of a piece."""
        self.compared += 1
        if isinstance(unit, Week):
            self.readings += unit.count(told)
        elif isinstance(unit, Rows):
            self.counts[unit.name] = len(told)
        (self.behind if went_on else self.differs).extend(differences(told, other))


def early_units(one: Side, other: Side) -> list[Unit]:
    """Return the pieces that are many, of all that either side has.

    The chain comes before the blocks: a sealer there finds each of them linked.
    """
    units: list[Unit] = [Rows(table) for table in EARLY]
    for device in one.devices:
        weeks = {*weeks_of(one, device), *weeks_of(other, device)}
        units += [Week(device, week) for week in sorted(weeks, key=lambda week: week.start_ms)]
        months = {*months_of(one, device), *months_of(other, device)}
        units += [Month(device, start_ms) for start_ms in sorted(months)]
    return units


def told_of(unit: Unit, side: Side) -> Told:
    """Return what the target has of a piece; what is damaged there is just not the same."""
    try:
        return unit.told(unit.read(side))
    except DataRefusedError as error:
        return {unit.name: str(error)}


def compare(one: Side, other: Side, copied: Mapping[str, Told], tally: Tally) -> None:
    """Read both sides and note what differs: since the copy is wrong, or the source went on."""
    told = catalogue_told(one)
    went_on = told != copied[CATALOGUE]
    found = list(differences(told, catalogue_told(other)))
    (tally.behind if went_on else tally.differs).extend(found)
    for unit in early_units(one, other):
        told = unit.told(unit.read(one))
        tally.note(unit, told, told_of(unit, other), went_on=told != copied.get(unit.name))
