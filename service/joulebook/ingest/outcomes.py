"""What becomes of a message: rows to store, and what is set aside with the reason."""

from dataclasses import dataclass

from joulebook.ingest.checks import Objection
from joulebook.ingest.layouts import Layout, Row
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.senml import Fault, Record, called, pack_of
from joulebook.storage.records import Refused

# Faults told when none of a pack's records can be used, or too many to be kept one by one.
_TOLD_FAULTS = 5

#: Of a pack with more faults than this, all of it is kept once instead of each faulty record.
MOST_PARTS = 64


@dataclass(slots=True)
class Decoded:
    """What became of a message: rows by layout, in order of time, and what is set aside."""

    rows: list[tuple[Layout, int, Row]]
    refused: list[Refused]
    verdict: Verdict


def fault_of(record: Record, objection: Objection) -> Fault:
    """Return the fault of a record that is refused."""
    detail = f"{called(record.number, record.name)} {objection.detail}"
    return Fault(objection.reason, detail, pack_of(record))


def none_usable(message: Message, site_id: int, faults: list[Fault]) -> Decoded:
    """Refuse a whole message once, rather than each of its records."""
    reason, told = _together(faults, "no-usable-record")
    return turned_away(message, Verdict.QUARANTINED, reason, told, site_id)


def parts_of(message: Message, site_id: int, faults: list[Fault]) -> list[Refused]:
    """Return what is kept of a message some of whose records could be used."""
    if len(faults) > MOST_PARTS:
        reason, told = _together(faults, "several-records")
        return [refused_part(message, site_id, reason, told, message.payload)]
    return [
        refused_part(message, site_id, fault.reason, fault.detail, fault.payload)
        for fault in faults
    ]


def _together(faults: list[Fault], several: str) -> tuple[str, str]:
    """Return the reason of all faults, or ``several``, and the first of them in words."""
    reasons = {fault.reason for fault in faults}
    told = "; ".join(fault.detail for fault in faults[:_TOLD_FAULTS])
    if len(faults) > _TOLD_FAULTS:
        told += f"; and {len(faults) - _TOLD_FAULTS} more"
    return reasons.pop() if len(reasons) == 1 else several, told


def turned_away(
    message: Message, verdict: Verdict, reason: str, detail: str, site_id: int | None = None
) -> Decoded:
    """Refuse a message as a whole; it is its sender's where no other site is known."""
    owner = message.site_id if site_id is None else site_id
    return Decoded([], [refused_part(message, owner, reason, detail, message.payload)], verdict)


def refused_part(
    message: Message, site_id: int | None, reason: str, detail: str, payload: bytes
) -> Refused:
    """Return what the quarantine keeps of a message: all of its payload, or a part of it."""
    return Refused(
        site_id=site_id,
        source=message.source,
        topic=message.topic,
        payload=payload,
        reason=reason,
        detail=detail,
        received_ms=message.received_ms,
    )
