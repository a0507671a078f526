from collections import Counter
from dataclasses import replace

import pytest

from joulebook.cli.health import LITTLE_ROOM_BYTES, NO_ROOM_BYTES, Parts, health_of
from joulebook.ingest.inbox import InboxCounts
from joulebook.ingest.mqtt.roster import ListenerCounts
from joulebook.reminders.watcher import WatcherCounts
from joulebook.storage.durations import Durations
from joulebook.storage.records import SealCounts
from joulebook.storage.room import Room
from joulebook.storage.sealer import SealerCounts
from joulebook.summaries.analyst import AnalystCounts
from joulebook.summaries.summariser import SummariserCounts
from joulebook.web.watch.health import Health, WorkerHealth
from joulebook.web.watch.traffic import Traffic

NOW_MS = 1_780_000_000_000
INBOX = InboxCounts(
    messages=7,
    new=100,
    repeated=2,
    replaced=1,
    quarantined=3,
    reasons={"json-malformed": 3},
    commits=5,
    queued=4,
    waiting_s=0.2,
    last_commit_ms=NOW_MS,
    commits_took=Durations(),
    failing=None,
    alive=True,
    silent_s=0.1,
)
ROOM = Room(
    free_bytes=LITTLE_ROOM_BYTES,
    size_bytes=10**11,
    free_files=10**6,
    database_bytes=10**8,
    writable=True,
)
SUMMARIES = SummariserCounts(
    alive=True, dirty_days=6, days_computed=9, failing=(), caught_up_ms=NOW_MS - 1000
)
SEALING = SealerCounts(alive=True, runs=2, sealed=SealCounts(blocks=3, rows=40), failing=())
ANALYSIS = AnalystCounts(alive=True, rounds=3, records_analysed=1, failing=())
PARTS = Parts(
    inbox=INBOX,
    listener=ListenerCounts(
        connections=1,
        connections_total=2,
        refused=1,
        messages=7,
        bytes=900,
        dropped=Counter({"silent": 1}),
    ),
    summaries=SUMMARIES,
    sealing=SEALING,
    analysis=ANALYSIS,
    reminders=WatcherCounts(alive=True, rounds=1, opened=0, closed=0, told=0, failing=()),
    broker_connected=None,
    workers=(WorkerHealth(name="writer"),),
    room=ROOM,
    last_backup_ms=NOW_MS - 60_000,
    started_ms=NOW_MS - 3_000_000,
    now_ms=NOW_MS,
)


def told(**changed: object) -> Health:
    return health_of(replace(PARTS, **changed), Traffic())  # type: ignore[arg-type]


def test_all_well_is_ready_with_every_count_in_its_place() -> None:
    traffic = Traffic()
    traffic.note("page", 200, 0.1)
    assert health_of(PARTS, traffic) == Health(
        ready=True,
        problems=(),
        started_ms=NOW_MS - 3_000_000,
        messages=7,
        readings_new=100,
        readings_repeated=2,
        readings_replaced=1,
        quarantined={"json-malformed": 3},
        commits=5,
        queued=4,
        waiting_s=0.2,
        last_commit_ms=NOW_MS,
        commits_took=Durations(),
        connections=1,
        connections_total=2,
        connections_refused=1,
        listener_messages=7,
        listener_bytes=900,
        connections_dropped={"silent": 1},
        broker_connected=None,
        dirty_days=6,
        days_computed=9,
        caught_up_ms=NOW_MS - 1000,
        blocks_sealed=3,
        rows_sealed=40,
        records_analysed=1,
        workers=(WorkerHealth(name="writer"),),
        room=ROOM,
        last_backup_ms=NOW_MS - 60_000,
        requests={("page", 200): 1},
        requests_took=traffic.took(),
    )


@pytest.mark.parametrize(
    ("changed", "begins"),
    [
        ({"inbox": replace(INBOX, alive=False)}, "the writer has stopped, nothing is stored"),
        (
            {"inbox": replace(INBOX, failing="the disk is full")},
            "readings cannot be stored: the disk is full; their senders keep them",
        ),
        ({"inbox": replace(INBOX, waiting_s=31.0)}, "readings have waited 31 s for the disk"),
        ({"room": None}, "the data directory cannot be read: check that its disk is there"),
        ({"room": replace(ROOM, writable=False)}, "the data directory may only be read: check"),
        ({"room": replace(ROOM, free_bytes=NO_ROOM_BYTES - 1)}, "the disk is full: free some"),
    ],
)
def test_what_keeps_readings_from_being_stored_is_not_ready(
    changed: dict[str, object], begins: str
) -> None:
    health = told(**changed)
    assert not health.ready
    [problem] = health.problems
    assert problem.startswith(begins)


STUCK = "the sealer has been stuck for 2000 s, the file grows: it is started again by itself"


@pytest.mark.parametrize(
    ("changed", "begins"),
    [
        ({"workers": (WorkerHealth(name="sealer", problem=STUCK),)}, STUCK),
        ({"room": replace(ROOM, free_bytes=LITTLE_ROOM_BYTES - 1)}, "the disk has 500 MB left"),
        ({"room": replace(ROOM, free_files=99)}, "the disk has room for 99 more files"),
        (
            {"summaries": replace(SUMMARIES, failing=("day 2026-07-14 is not computed",))},
            "day 2026-07-14 is not computed: see the log",
        ),
        ({"sealing": replace(SEALING, failing=("a damaged block",))}, "a damaged block: see"),
        ({"analysis": replace(ANALYSIS, failing=("no record",))}, "no record: see the log"),
        ({"homes_failing": ("homes cannot be put in order",)}, "homes cannot be put in order: see"),
        ({"broker_connected": False}, "the broker is not reached, its readings wait there: check"),
        (
            {"summaries": replace(SUMMARIES, caught_up_ms=NOW_MS - 3_660_000)},
            "results of 6 days have been behind for 61 minutes",
        ),
        (
            {
                "summaries": replace(SUMMARIES, caught_up_ms=None),
                "started_ms": NOW_MS - 7_200_000,
            },
            "results of 6 days have been behind for 120 minutes",
        ),
    ],
)
def test_what_does_not_stop_readings_is_told_and_stays_ready(
    changed: dict[str, object], begins: str
) -> None:
    health = told(**changed)
    assert health.ready
    [problem] = health.problems
    assert problem.startswith(begins)


def test_a_disk_without_a_limit_of_files_has_none_to_run_out_of() -> None:
    assert told(room=replace(ROOM, free_files=None)).problems == ()


def test_a_dead_writer_is_told_once() -> None:
    workers = (WorkerHealth(name="writer", problem="the writer has stopped, nothing is stored"),)
    assert len(told(workers=workers, inbox=replace(INBOX, alive=False)).problems) == 1
    assert told(workers=workers).problems == (workers[0].problem,)  # it just came back


def test_old_marks_alone_are_no_lag() -> None:
    nothing_dirty = replace(SUMMARIES, dirty_days=0, caught_up_ms=NOW_MS - 10**9)
    assert told(summaries=nothing_dirty).problems == ()


def test_what_a_copy_has_not_it_does_not_tell() -> None:
    ingest_only = Parts(
        inbox=INBOX,
        listener=None,
        broker_connected=True,
        workers=(WorkerHealth(name="writer"),),
        room=ROOM,
        started_ms=NOW_MS - 7_200_000,
        now_ms=NOW_MS,
    )
    health = health_of(ingest_only, Traffic())
    assert (health.ready, health.problems) == (True, ())
    assert health.messages == 7
    # No listener, no results, no sealing: missing, and not zero.
    assert health.connections is None
    assert health.dirty_days is None
    assert health.days_computed is None
    assert health.blocks_sealed is None
    assert health.records_analysed is None


def test_a_server_has_its_own_disk() -> None:
    health = told(room=None, on_server=True)
    assert (health.ready, health.problems, health.room) == (True, (), None)
