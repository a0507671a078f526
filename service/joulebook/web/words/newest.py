"""The newest readings of a site, in words, with how long ago they were heard."""

from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.core.quantities import kind_of
from joulebook.storage.records import Latest
from joulebook.web.region import formats
from joulebook.web.words import texts


@dataclass(frozen=True, slots=True, kw_only=True)
class NewestReading:
    """One reading as it is shown and as it is."""

    quantity: str
    unit: str
    value: float | str | bool
    text: str
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NewestOfDevice:
    """What a device said last.

    Attributes
    ----------
    device, label : str
        Its name, and what it is called on a page.
    headline : str
        The number that matters most, in words: "1.20 kW, filling".
    heard : str
        "4 s ago".
    age_s : float
        The same as a number. [s]
    stale : bool
        Whether it has been silent for so long that the numbers say nothing of now.
    readings : tuple of NewestReading
        All of them.
    """

    device: str
    label: str
    headline: str
    heard: str
    age_s: float
    stale: bool
    readings: tuple[NewestReading, ...]


_ORDER = {kind: place for place, kind in enumerate(texts.DEVICE_WORDS)}
#: What a device is known by, the first that it reports.
_HEADLINES = ("power", "temperature")


def newest_of(latest: Sequence[Latest], *, now_ms: int) -> tuple[NewestOfDevice, ...]:
    """Return the newest readings by device: panels, use, grid and battery first."""
    by_device: dict[str, list[Latest]] = {}
    for reading in latest:
        by_device.setdefault(reading.series.device, []).append(reading)
    devices = sorted(by_device, key=lambda name: (_ORDER.get(kind_of(name), len(_ORDER)), name))
    return tuple(_device(name, by_device[name], now_ms) for name in devices)


def last_heard_ms(latest: Sequence[Latest]) -> int | None:
    """Return when the newest reading of all was taken. [ms, UTC epoch]"""
    return max((reading.at_ms for reading in latest), default=None)


def _device(name: str, latest: list[Latest], now_ms: int) -> NewestOfDevice:
    readings = tuple(
        NewestReading(
            quantity=reading.series.quantity,
            unit=reading.series.unit,
            value=reading.value,
            text=formats.value_text(reading.value, reading.series.unit, reading.series.quantity),
            at_ms=reading.at_ms,
        )
        for reading in sorted(latest, key=lambda reading: reading.series.quantity)
    )
    age_s = max(0.0, (now_ms - max(reading.at_ms for reading in readings)) / 1000)
    return NewestOfDevice(
        device=name,
        label=formats.device_label(name),
        headline=_headline(name, readings),
        heard=formats.age(age_s),
        age_s=age_s,
        stale=age_s > texts.STALE_AFTER_S,
        readings=readings,
    )


def _headline(device: str, readings: tuple[NewestReading, ...]) -> str:
    by_quantity = {reading.quantity: reading for reading in readings}
    named = next((by_quantity[name] for name in _HEADLINES if name in by_quantity), None)
    if named is None:
        return f"{readings[0].quantity}: {readings[0].text}"
    headline = in_words(device, named)
    soc = by_quantity.get("soc")
    return f"{headline}; {soc.text} full" if soc is not None else headline


def in_words(device: str, reading: NewestReading) -> str:
    """Return a reading with its sign in a word where the sign has a meaning."""
    words = texts.DIRECTIONS.get(kind_of(device))
    signed = reading.quantity == "power" and isinstance(reading.value, int | float)
    if words is None or not signed:
        return reading.text
    if reading.text.strip("0.,\N{MINUS SIGN}W\N{NO-BREAK SPACE}k") == "":
        return f"{reading.text.lstrip(chr(0x2212))}, idle"
    size = reading.text.lstrip("\N{MINUS SIGN}")
    filling, emptying = words
    return f"{size}, {emptying if float(reading.value) < 0 else filling}"
