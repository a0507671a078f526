"""Messages and SenML packs for tests of ingest."""

import json
from collections.abc import Iterable
from typing import Any

from joulebook.ingest.message import Message
from joulebook.ingest.outcomes import Decoded

#: 2026-05-28T20:26:40Z. [ms, UTC epoch]
NOW_MS = 1_780_000_000_000

VOLTAGE = {"n": "voltage", "u": "V", "v": 53.1}


def message(
    payload: bytes | list[dict[str, Any]],
    *,
    device: str = "battery",
    site: str = "studio",
    received_ms: int = NOW_MS,
    bound: bool = True,
    site_id: int = 1,
) -> Message:
    """Return a message of the bridge; not ``bound`` is one from a broker that is trusted."""
    return Message(
        f"joulebook/v1/{site}/{device}",
        payload if isinstance(payload, bytes) else json.dumps(payload).encode(),
        received_ms,
        "bridge" if bound else "broker",
        "studio" if bound else None,
        site_id if bound else None,
    )


def readings(decoded: Decoded | Iterable[Decoded]) -> list[tuple[str, str, str, int, Any]]:
    """Return what was decoded as (device, quantity, unit, instant, value)."""
    return [
        (layout.device, column.quantity, column.unit, at_ms, value)
        for one in ([decoded] if isinstance(decoded, Decoded) else decoded)
        for layout, at_ms, (_, *values) in one.rows
        for column, value in zip(layout.columns, values, strict=True)
    ]
