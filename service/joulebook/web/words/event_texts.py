"""Events as an owner notes them: the kinds to choose from, and what noting one does."""

from datetime import datetime

from joulebook.core.records.record_inputs import MOVES_SENSOR, NEW_BATTERY
from joulebook.storage.events import EventKind
from joulebook.storage.records import Site

#: Each kind, as the form offers it.
KIND_WORDS: dict[EventKind, str] = {
    "firmware": "New firmware",
    "wiring": "Wiring, lugs or breakers",
    "panels": "More panels, or others",
    "battery": "Another battery, or one more",
    "sensor": "A sensor or clamp: another, or moved",
    "settings": "A setting of the equipment",
    "capacity_setting": "The capacity that the equipment was told",
    "other": "Something else",
}
LABELS = {"title": "What was changed", "kind": "What it was about", "at": "When", "note": "Note"}

_SPLITS = (
    "Before and after it are not mixed: quarters are cut there, efficiency is told of what came "
    "after, and what it changed is compared."
)
_ZERO = "The zero of the current sensor is found anew from there on."
_NEW = "The record of a new battery begins: capacity and fade start afresh."


def what_it_does(kind: str) -> str:
    """Return what an event of a kind does to the numbers."""
    said = [_SPLITS, *([_ZERO] if kind in MOVES_SENSOR else [])]
    return " ".join([*said, *([_NEW] if kind in NEW_BATTERY else [])])


def local_minute(at_ms: int, site: Site) -> str:
    """Return an instant as a field of a date and a time has it, by the site's clock."""
    return f"{datetime.fromtimestamp(at_ms / 1000, tz=site.zone):%Y-%m-%dT%H:%M}"
