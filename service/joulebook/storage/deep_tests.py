"""Guided deep-discharge tests of a site: planned, begun, ended. What came of one is computed."""

from dataclasses import asdict, dataclass, replace

import msgspec

from joulebook.core.battery.deep_test_plan import Target
from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site


@dataclass(frozen=True, slots=True, kw_only=True)
class DeepTest:
    """One test.

    Attributes
    ----------
    id : int
        Its number.
    planned_ms, started_ms, ended_ms : int, or None
        When it was planned, and when the owner said that it began and ended. [ms, UTC epoch]
    target : Target
        What it has to reach, as planned.
    note : str
        In the owner's words.
    """

    id: int
    planned_ms: int
    started_ms: int | None = None
    ended_ms: int | None = None
    target: Target
    note: str = ""

    @property
    def is_open(self) -> bool:
        """Whether it was not ended."""
        return self.ended_ms is None


@names_faults
def plan_test(
    connection: Connection, site: Site, target: Target, *, note: str, planned_ms: int
) -> DeepTest:
    """Plan a test.

    Raises
    ------
    UsageError
        If the site has one that was not ended.
    """
    with joined(connection):
        for there in deep_tests_of(connection, site.id):
            if there.is_open:
                raise _refused(
                    f"test {there.id} of site {site.name} was not ended yet",
                    "no test under way",
                    "end it with `joulebook deep-test end`",
                )
        (number,) = connection.execute(
            """
            INSERT INTO deep_tests (site_id, planned_ms, target, note)
            VALUES (?, ?, ?, ?)
            RETURNING id
            """,
            (site.id, planned_ms, msgspec.json.encode(asdict(target)).decode(), note),
        ).fetchone()
    return DeepTest(id=int(number), planned_ms=planned_ms, target=target, note=note)


@names_faults
def start_test(connection: Connection, site: Site, *, started_ms: int) -> DeepTest:
    """Begin the test that was planned.

    Raises
    ------
    UsageError
        If none is planned, or it began before.
    """
    with joined(connection):
        there = _open_test(connection, site)
        if there.started_ms is not None:
            raise _refused(
                f"test {there.id} began before",
                "a test that is planned and did not begin",
                "see how far it is with `joulebook deep-test show`",
            )
        connection.execute(
            "UPDATE deep_tests SET started_ms = ? WHERE id = ?", (started_ms, there.id)
        )
    return replace(there, started_ms=started_ms)


@names_faults
def end_test(connection: Connection, site: Site, *, ended_ms: int) -> DeepTest:
    """End the test, also one that never began: then it was only a plan.

    Raises
    ------
    UsageError
        If there is none, or it would end before it began.
    """
    with joined(connection):
        there = _open_test(connection, site)
        if there.started_ms is not None and ended_ms <= there.started_ms:
            raise _refused(
                f"test {there.id} would end before it began",
                "an instant after its beginning",
                "correct --at",
            )
        connection.execute("UPDATE deep_tests SET ended_ms = ? WHERE id = ?", (ended_ms, there.id))
    return replace(there, ended_ms=ended_ms)


@names_faults
def deep_tests_of(connection: Connection, site_id: int) -> list[DeepTest]:
    """Return a site's tests in the order they were planned."""
    rows = connection.execute(
        """
        SELECT id, planned_ms, started_ms, ended_ms, target, note
        FROM deep_tests
        WHERE site_id = ?
        ORDER BY id
        """,
        (site_id,),
    )
    return [
        DeepTest(
            id=number,
            planned_ms=planned_ms,
            started_ms=started_ms,
            ended_ms=ended_ms,
            target=msgspec.json.decode(target, type=Target),
            note=note,
        )
        for number, planned_ms, started_ms, ended_ms, target, note in rows
    ]


def _open_test(connection: Connection, site: Site) -> DeepTest:
    under_way = [there for there in deep_tests_of(connection, site.id) if there.is_open]
    if not under_way:
        raise _refused(
            f"site {site.name} has no test under way",
            "a test that was planned",
            "plan one with `joulebook deep-test plan`",
        )
    return under_way[0]


def _refused(what: str, expected: str, next_step: str) -> UsageError:
    return UsageError(what, where="deep-test", expected=expected, next_step=next_step)
