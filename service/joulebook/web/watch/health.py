"""How the service does, in plain numbers. The command line builds it; three pages show it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from joulebook.storage.durations import Durations
from joulebook.storage.quarantine import SetAside
from joulebook.storage.room import Room


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkerHealth:
    """How one worker does.

    Attributes
    ----------
    name : str
        Such as ``writer``.
    restarts : int
        How often it was started again, since the service started.
    problem : str or None
        A sentence where it does not work now.
    """

    name: str
    restarts: int = 0
    problem: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Whether the service can take in readings now, and what it has done since it started.

    Attributes
    ----------
    ready : bool
        A reading that is sent now would be stored.
    problems : tuple of str
        Sentences for a person: what does not work now, and what to do. Empty when all is well.
    started_ms : int or None
        When the service started. [ms, UTC epoch]
    messages, readings_new, readings_repeated, readings_replaced, commits : int
        What the inbox took in since the start.
    quarantined : mapping of str to int
        Refused messages and parts since the start, by reason.
    set_aside : sequence of SetAside
        What of them, since ever, is still kept, and what was let go for want of room.
    queued : int
        Messages that wait for their commit.
    waiting_s : float
        How long the one of them that came first has waited. [s]
    last_commit_ms : int or None
        When readings were last committed; ``None``: not since the start. [ms, UTC epoch]
    commits_took : Durations or None
        How long commits took.
    connections : int or None
        Bridges connected to the listener now; ``None``: there is no listener (the same below).
    connections_total, connections_refused, listener_messages, listener_bytes : int or None
        What the listener saw since the start.
    connections_dropped : mapping of str to int
        Those that the listener ended, by reason.
    broker_connected : bool or None
        Whether the broker of the house is reached; ``None``: no broker is configured.
    dirty_days : int or None
        Local days whose results are behind their readings; ``None``: others compute them.
    days_computed : int or None
        Day results made since the start; ``None`` as above.
    caught_up_ms : int or None
        When no result was behind for the last time; ``None``: not since the start.
    blocks_sealed, rows_sealed : int or None
        What sealing did since the start; ``None``: others seal.
    records_analysed : int or None
        Analyses of whole records since the start; ``None``: others analyse.
    workers : tuple of WorkerHealth
        Those that a watchdog looks after.
    room : Room or None
        The disk; ``None`` where it cannot be asked.
    last_backup_ms : int or None
        When the last backup was made; ``None``: none is known. [ms, UTC epoch]
    requests : mapping of (str, int) to int
        Requests answered since the start, by kind of address and HTTP status.
    requests_took : mapping of str to Durations
        How long their answers took, by kind of address.
    """

    ready: bool
    problems: tuple[str, ...] = ()
    started_ms: int | None = None
    messages: int = 0
    readings_new: int = 0
    readings_repeated: int = 0
    readings_replaced: int = 0
    quarantined: Mapping[str, int] = field(default_factory=dict)
    set_aside: Sequence[SetAside] = ()
    commits: int = 0
    queued: int = 0
    waiting_s: float = 0.0
    last_commit_ms: int | None = None
    commits_took: Durations | None = None
    connections: int | None = None
    connections_total: int | None = None
    connections_refused: int | None = None
    listener_messages: int | None = None
    listener_bytes: int | None = None
    connections_dropped: Mapping[str, int] = field(default_factory=dict)
    broker_connected: bool | None = None
    dirty_days: int | None = None
    days_computed: int | None = None
    caught_up_ms: int | None = None
    blocks_sealed: int | None = None
    rows_sealed: int | None = None
    records_analysed: int | None = None
    workers: tuple[WorkerHealth, ...] = ()
    room: Room | None = None
    last_backup_ms: int | None = None
    requests: Mapping[tuple[str, int], int] = field(default_factory=dict)
    requests_took: Mapping[str, Durations] = field(default_factory=dict)
