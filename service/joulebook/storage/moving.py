"""A site moved from one database to another, file or server: copied piece by piece, then compared.

Rule 1: the source is only read, until its owner has it deleted.
Rule 2: the site has no name that anybody can ask for at the target until all of it was read back
from both sides, as of one commit of the source, and was the same.
Rule 3: a piece that is there as it should be is not written: whoever was killed starts again.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from zlib import crc32

from joulebook.errors import DataRefusedError, UnavailableError, UsageError
from joulebook.storage.connections import Connection, joined_snapshot, transaction, turn
from joulebook.storage.database import Database
from joulebook.storage.faults import naming_faults
from joulebook.storage.lock import only_mover
from joulebook.storage.moving_comparing import CATALOGUE, Tally, compare, early_units, told_of
from joulebook.storage.moving_finish import finish, late_units
from joulebook.storage.moving_pairs import catalogue_told, paired
from joulebook.storage.moving_sides import Side, side_of, the_side
from joulebook.storage.moving_source import roles_of, stamp_of, waiting_of
from joulebook.storage.moving_units import Told, differences
from joulebook.storage.names import COMING, check_name

#: So often what changed meanwhile is copied again, before a source counts as too busy.
PASSES = 3

Progress = Callable[[int, int], None]


class MoveDiffersError(DataRefusedError):
    """What was copied is not what is at the source.

    Attributes
    ----------
    differences : tuple of str
        Where, a sentence for each.
    """

    def __init__(self, site: str, found: Sequence[str]) -> None:
        super().__init__(
            f"the copy of {site} is not the same: {found[0]}"
            + (f" (and {len(found) - 1} more)" if found[1:] else ""),
            where=f"site {site}",
            expected="the same on both sides; nothing is shown, the source untouched",
            next_step="run it again, it copies what differs; if it stays, verify both databases",
        )
        self.differences = tuple(found)


class SiteThereError(UsageError):
    """The target has another site of that name, or one that has gone on by itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """A site that is at the target, the same as at the source.

    Attributes
    ----------
    site : str
    already : bool
        Whether it was there before, and was only compared.
    passes, written, compared : int
        How often the source was gone through, how many pieces were written and were compared.
    readings : int
    counts : dict of str to int
        Rows by table, of what was compared by rows.
    roles : tuple of (str, str)
        Who may do what at the source, and nothing at the target.
    waiting : int
        Things that wait to be told by the source.
    stamp : mapping
        What the source must still have for it to be deleted.
    """

    site: str
    already: bool
    passes: int
    written: int
    compared: int
    readings: int
    counts: dict[str, int]
    roles: tuple[tuple[str, str], ...]
    waiting: int
    stamp: Told


def move_site(
    source: Database,
    target: Database,
    name: str,
    *,
    now_ms: int,
    same_people: Sequence[str] = (),
    progress: Progress = lambda _done, _total: None,
) -> Moved:
    """Have a target hold a site as a source does, and compare both; the source is only read.

    Parameters
    ----------
    now_ms : int
        For the target's audit log. [ms, UTC epoch]
    same_people : sequence of str
        Names of people who are the same on both sides: they keep their roles. Nobody else does.
    progress : callable
        Told how many pieces of how many are copied.

    Raises
    ------
    UsageError
        If there is no such site, or both are one database.
    SiteThereError
        If the target has a site of that name, and it is not the same.
    MoveDiffersError
        If what was copied is not what was read. Nothing is shown.
    UnavailableError
        If the source changes faster than it is copied, or somebody else moves the site.
    StorageUnavailableError
        If a database is away. What was copied stays, for the next try.
    DataRefusedError
        If something at the source is damaged.
    """
    check_name("a site", name)
    with _both(source, target, name) as (there, here):
        if side_of(here, name) is not None:
            return _compared_only(there, here, name)
        tally = Tally()
        for passes in range(1, PASSES + 1):
            copied, written = _copied(there, here, name, now_ms, progress)
            tally = Tally(written=tally.written + written)
            with joined_snapshot(there):
                one, other = the_side(there, name), the_side(here, COMING + name)
                compare(one, other, copied, tally)
                if tally.differs:
                    raise MoveDiffersError(name, tally.differs)
                if not tally.behind:
                    for unit, told in finish(
                        one, other, source=source.where, now_ms=now_ms, same_people=same_people
                    ):
                        tally.note(unit, told, told)
                    return _moved(one, tally, passes, same_people)
    raise UnavailableError(
        f"site {name} changes while it is copied: {tally.behind[0]}",
        where=source.where,
        expected="a source to which nobody writes for some minutes",
        next_step="stop its bridges (they keep what they read), and run it again",
    )


def _moved(one: Side, tally: Tally, passes: int, same_people: Sequence[str]) -> Moved:
    return Moved(
        site=one.name,
        already=passes == 0,
        passes=passes,
        written=tally.written,
        compared=tally.compared,
        readings=tally.readings,
        counts=tally.counts,
        roles=tuple(role for role in roles_of(one) if role[0] not in same_people),
        waiting=len(waiting_of(one)),
        stamp=stamp_of(one),
    )


@contextmanager
def _both(source: Database, target: Database, name: str) -> Iterator[tuple[Connection, Connection]]:
    """Open both sides for one mover of a site, and refuse one database for both."""
    if source.server is None and target.server is None and source.path.samefile(target.path):
        raise _one_database(source)
    key = crc32(name.encode()) >> 1
    with (
        naming_faults(source.where),
        only_mover(target.data_dir),
        closing(source.connect()) as there,
        closing(target.connect()) as here,
        turn(there, "move", key) as first,
        turn(here, "move", key) as second,
    ):
        # A server has one turn, however it was addressed.
        if not (first and second):
            raise _one_database(source)
        yield there, here


def _one_database(source: Database) -> UsageError:
    return UsageError(
        "both sides are one database, or somebody else is moving the site",
        where=source.where,
        expected="a target that is another database",
        next_step="check --data, --to and --to-database, and the settings in both directories",
    )


def _copied(
    there: Connection, here: Connection, name: str, now_ms: int, progress: Progress
) -> tuple[Mapping[str, Told], int]:
    """Copy what is not there; return what the source had of each piece, and how many it were."""
    one = the_side(there, name)
    other = paired(there, here, name, now_ms=now_ms)
    copied = {CATALOGUE: catalogue_told(one)}
    written = 0
    units = early_units(one, other)
    for done, unit in enumerate(units, start=1):
        try:
            with joined_snapshot(there):
                content = unit.read(one)
        except DataRefusedError:
            if catalogue_told(the_side(there, name)) == copied[CATALOGUE]:
                raise
            return copied, written  # of a series that came meanwhile: it is for the next pass
        copied[unit.name] = told = unit.told(content)
        if told_of(unit, other) != told:
            with transaction(here, [other.site_id]):
                unit.write(other, content)
            written += 1
        progress(done, len(units))
    return copied, written


def _compared_only(there: Connection, here: Connection, name: str) -> Moved:
    """Compare a site that both sides have, as after a run that ended before it could tell."""
    tally = Tally()
    with joined_snapshot(there), joined_snapshot(here):
        one, other = the_side(there, name), the_side(here, name)
        tally.differs += differences(catalogue_told(one), catalogue_told(other))
        for unit in (*late_units(), *early_units(one, other)):
            told = unit.told(unit.read(one))
            tally.note(unit, told, told_of(unit, other))
            if tally.differs:
                raise SiteThereError(
                    f"the target has a site {name!r} already ({tally.differs[0]})",
                    where=f"site {name}",
                    expected="a name that no site there has, or the same site to the last row",
                    next_step="leave it, or delete one of them: `joulebook site delete`",
                )
        return _moved(one, tally, 0, ())
