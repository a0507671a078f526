"""A message as any door hands it to the inbox, and what became of it."""

from dataclasses import dataclass
from enum import Enum


@dataclass(frozen=True, slots=True)
class Message:
    """One published message."""

    topic: str
    payload: bytes
    received_ms: int  # [ms, UTC epoch]
    source: str  # the bridge's name, or "broker"
    site: str | None  # the only site it may write to; None: any (a broker that is trusted)
    site_id: int | None


class Verdict(Enum):
    """What became of a message. Each one is on disk by the time the door hears of it."""

    STORED = "stored"  # its readings, with single bad ones in quarantine
    QUARANTINED = "quarantined"  # all of it: malformed, or none of its readings usable
    NOT_AUTHORISED = "not authorised"  # another site's topic; kept in quarantine
    TOPIC_INVALID = "topic invalid"  # not a topic of ours; kept in quarantine
