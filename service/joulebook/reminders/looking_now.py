"""What the newest readings tell: looked at every minute."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from joulebook.core import corrections as correcting
from joulebook.core.corrections import Correction
from joulebook.core.quantities import kind_of
from joulebook.reminders.seen import Seen
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Latest, Site

#: A reading that is older tells nothing of now. [ms]
FRESH_MS = 900_000
#: A smaller current is no charging. [A]
_CHARGING_A = 1.0
#: What a battery that is not being charged is away from the limit for cold. [°C]
_NOT_CHARGING_C = -99.0

_Newest = Mapping[str, float]


def seen_now(connection: Connection, site: Site, *, now_ms: int) -> Iterator[Seen]:
    """Yield what the newest readings of a site tell; nothing where it never sent any."""
    newest = latest_readings(connection, site.id)
    if not newest:
        return
    silent_min = (now_ms - max(each.at_ms for each in newest)) / 60_000
    yield Seen(
        rule="bridge-silent",
        value=silent_min,
        sentence=f"nothing has been heard of {site.name} for {silent_min:.0f} minutes",
    )
    corrections = corrections_of(connection, site.id)
    for device in sorted({each.series.device for each in newest}):
        if kind_of(device) == "battery":
            yield from _battery(site, device, _fresh(newest, device, corrections, now_ms))


def _fresh(
    newest: Sequence[Latest], device: str, corrections: Sequence[Correction], now_ms: int
) -> _Newest:
    """Return a device's newest numbers, corrected, those that are of now."""
    found = {}
    for each in newest:
        fresh = 0 <= now_ms - each.at_ms <= FRESH_MS
        if each.series.device == device and fresh and isinstance(each.value, float):
            name, at_ms = each.series.quantity, np.array([each.at_ms], dtype=np.int64)
            values = np.array([each.value])
            corrected = correcting.apply(corrections, device, name, at_ms, values)[0]
            if corrected == corrected:
                found[name] = float(corrected)
    return found


def _battery(site: Site, device: str, newest: _Newest) -> Iterator[Seen]:
    warmth = newest.get("temperature")
    yield Seen(
        rule="hot-battery",
        subject=device,
        value=warmth,
        sentence="" if warmth is None else f"{device} is at {warmth:.1f} °C",
    )
    current = newest.get("current")
    if current is None and "power" in newest and newest.get("voltage"):
        current = newest["power"] / newest["voltage"]
    limit = 0.0 if site.charge_low_c is None else site.charge_low_c
    below = None
    if warmth is not None and current is not None:
        below = limit - warmth if current > _CHARGING_A else _NOT_CHARGING_C
    yield Seen(
        rule="cold-charging",
        subject=device,
        value=below,
        sentence=f"{device} is charged with {current or 0:.0f} A at {warmth or 0:.1f} °C; "
        f"{limit:g} °C is the least",
    )
