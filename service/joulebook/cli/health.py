"""Puts what every part says of itself into one answer for /readyz and /metrics."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from joulebook.ingest.inbox import InboxCounts
from joulebook.ingest.mqtt.roster import ListenerCounts
from joulebook.reminders.watcher import WatcherCounts
from joulebook.storage.room import Room
from joulebook.storage.sealer import SealerCounts
from joulebook.summaries.analyst import AnalystCounts
from joulebook.summaries.summariser import SummariserCounts
from joulebook.web.watch.health import Health, WorkerHealth
from joulebook.web.watch.traffic import Traffic

#: A sender by HTTP waits no longer for its answer. [s]
MOST_WAITING_S = 30.0
#: SQLite needs a few pages of its log for the smallest commit. [bytes]
NO_ROOM_BYTES = 4_000_000
#: Ten years of a house take about 195 MB: with less than this it is time to look. [bytes]
LITTLE_ROOM_BYTES = 500_000_000
#: The database and its log are there; a backup, a restart or an upgrade wants files. [files]
FEW_FILES = 100
#: Results come within a minute of their readings; an import of years may take some. [s]
MOST_BEHIND_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What every part of the service says of itself now; ``None`` of a part that it has not."""

    inbox: InboxCounts
    listener: ListenerCounts | None
    summaries: SummariserCounts | None = None
    sealing: SealerCounts | None = None
    analysis: AnalystCounts | None = None
    reminders: WatcherCounts | None = None
    homes_failing: tuple[str, ...] = ()
    broker_connected: bool | None
    workers: tuple[WorkerHealth, ...]
    room: Room | None
    on_server: bool = False  # the database: this machine's disk says nothing of it
    last_backup_ms: int | None = None
    started_ms: int
    now_ms: int


def health_of(parts: Parts, traffic: Traffic) -> Health:
    """Return how the service does; ready means that a reading sent now would be stored."""
    inbox = parts.inbox
    unstorable = list(_unstorable(parts))
    return Health(
        ready=not unstorable,
        problems=(*unstorable, *_other_problems(parts)),
        started_ms=parts.started_ms,
        messages=inbox.messages,
        readings_new=inbox.new,
        readings_repeated=inbox.repeated,
        readings_replaced=inbox.replaced,
        quarantined=inbox.reasons,
        commits=inbox.commits,
        queued=inbox.queued,
        waiting_s=inbox.waiting_s,
        last_commit_ms=inbox.last_commit_ms,
        commits_took=inbox.commits_took,
        broker_connected=parts.broker_connected,
        workers=parts.workers,
        room=parts.room,
        last_backup_ms=parts.last_backup_ms,
        requests=traffic.requests(),
        requests_took=traffic.took(),
        **_of_listener(parts.listener),
        **_of_results(parts),
    )


def _of_listener(listener: ListenerCounts | None) -> dict[str, Any]:
    """Return what the door for bridges saw; where there is none, `Health` says so by itself."""
    if listener is None:
        return {}
    return {
        "connections": listener.connections,
        "connections_total": listener.connections_total,
        "connections_refused": listener.refused,
        "listener_messages": listener.messages,
        "listener_bytes": listener.bytes,
        "connections_dropped": listener.dropped,
    }


def _of_results(parts: Parts) -> dict[str, Any]:
    """Return what was done with readings that are stored, by the workers that there are."""
    told: dict[str, Any] = {}
    if parts.summaries:
        told["dirty_days"] = parts.summaries.dirty_days
        told["days_computed"] = parts.summaries.days_computed
        told["caught_up_ms"] = parts.summaries.caught_up_ms
    if parts.sealing:
        told["blocks_sealed"] = parts.sealing.sealed.blocks
        told["rows_sealed"] = parts.sealing.sealed.rows
    if parts.analysis:
        told["records_analysed"] = parts.analysis.records_analysed
    return told


def _unstorable(parts: Parts) -> Iterator[str]:
    """Yield why a reading that is sent now would not be stored."""
    inbox = parts.inbox
    if not inbox.alive:
        yield (
            "the writer has stopped, nothing is stored: it is started again by itself; "
            "if this stays, restart the service"
        )
    elif inbox.failing:
        yield (
            f"readings cannot be stored: {inbox.failing}; their senders keep them, and they are "
            "stored once that is mended"
        )
    elif inbox.waiting_s > MOST_WAITING_S:
        yield (
            f"readings have waited {inbox.waiting_s:.0f} s for the disk: see in the system's log "
            "whether the disk is well, and what else writes to it"
        )
    if not parts.on_server:
        yield from _no_room(parts.room)


def _no_room(room: Room | None) -> Iterator[str]:
    if room is None:
        yield "the data directory cannot be read: check that its disk is there and mounted"
    elif not room.writable:
        yield (
            "the data directory may only be read: check its owner and permissions, and how its "
            "disk is mounted"
        )
    elif room.free_bytes < NO_ROOM_BYTES:
        yield "the disk is full: free some space, and writing goes on by itself"


def _other_problems(parts: Parts) -> Iterator[str]:
    """Yield what does not work although readings are stored."""
    for worker in parts.workers:
        # What the inbox says of its writer is said above, and more exactly.
        if worker.problem and (worker.name != "writer" or parts.inbox.alive):
            yield worker.problem
    room = parts.room
    if room and NO_ROOM_BYTES <= room.free_bytes < LITTLE_ROOM_BYTES:
        yield (
            f"the disk has {room.free_bytes / 1e6:.0f} MB left: free some space, or move the data "
            "directory to a larger disk"
        )
    if room and room.free_files is not None and room.free_files < FEW_FILES:
        yield f"the disk has room for {room.free_files} more files: remove some"
    yield from _behind(parts)
    workers = (parts.summaries, parts.sealing, parts.analysis, parts.reminders)
    failing = [why for worker in workers if worker for why in worker.failing]
    failing += parts.homes_failing
    yield from (f"{sentence}: see the log" for sentence in failing)
    if parts.broker_connected is False:
        yield (
            "the broker is not reached, its readings wait there: check that it runs, and the "
            "setting 'broker'"
        )


def _behind(parts: Parts) -> Iterator[str]:
    summaries = parts.summaries
    if summaries is None:
        return
    since_ms = parts.started_ms if summaries.caught_up_ms is None else summaries.caught_up_ms
    behind_s = (parts.now_ms - since_ms) / 1000
    if summaries.dirty_days and behind_s > MOST_BEHIND_S:
        yield (
            f"results of {summaries.dirty_days} days have been behind for {behind_s / 60:.0f} "
            "minutes: see the log; after an import of years it takes a while"
        )
