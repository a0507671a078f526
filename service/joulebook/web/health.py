"""How the service does, in plain numbers. The command line builds it; three pages show it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """Whether the service can take in readings now, and what it has done since it started.

    Attributes
    ----------
    ready : bool
        It can take in and keep readings.
    problems : tuple of str
        Sentences for a person: what does not work now. Empty when all is well.
    messages, readings_new, readings_repeated, readings_replaced, quarantined, commits : int
        What the inbox took in since the start; ``quarantined`` counts refused messages and parts.
    queued : int
        Messages that wait for their commit.
    last_commit_ms : int or None
        When readings were last committed; ``None``: not since the start. [ms, UTC epoch]
    connections : int or None
        Bridges connected to the listener now; ``None``: there is no listener (the same below).
    connections_total, connections_refused, listener_messages, listener_bytes : int or None
        What the listener saw since the start.
    broker_connected : bool or None
        Whether the broker of the house is reached; ``None``: no broker is configured.
    dirty_days : int
        Local days whose results are behind their readings.
    """

    ready: bool
    problems: tuple[str, ...] = ()
    messages: int = 0
    readings_new: int = 0
    readings_repeated: int = 0
    readings_replaced: int = 0
    quarantined: int = 0
    commits: int = 0
    queued: int = 0
    last_commit_ms: int | None = None
    connections: int | None = None
    connections_total: int | None = None
    connections_refused: int | None = None
    listener_messages: int | None = None
    listener_bytes: int | None = None
    broker_connected: bool | None = None
    dirty_days: int = 0
