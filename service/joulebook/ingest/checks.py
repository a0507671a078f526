"""What a reading must be to be stored: the same rules for messages, files and the demo."""

import math
import sys
from dataclasses import dataclass

from joulebook.core.quantities import ValueKind, quantity_of
from joulebook.ingest.wording import shown_time

#: No home battery of this service logged before 2015: a clock that says so was never set.
EARLIEST_MS = 1_420_070_400_000  # 2015-01-01T00:00:00Z
#: Clocks drift; more than this ahead of ours is a wrong clock, not drift. [ms]
MOST_AHEAD_MS = 600_000

#: How far below zero a quantity that is never negative may read, by canonical unit: a ratio by its
#: rounding. Engineering choice, no source. A power may read anything: of a clamp that is the wrong
#: way round these are true readings, and a correction turns them around.
SLACK_BELOW_ZERO = {"W": sys.float_info.max, "/": 0.01, "Wh": 0.0}
#: A state of charge or of health above this was sent as a percentage.
MOST_RATIO = 1.05


@dataclass(frozen=True, slots=True)
class Objection:
    """Why a reading is refused: a short code of ours, and the end of a sentence."""

    reason: str
    detail: str


@dataclass(frozen=True, slots=True)
class Expected:
    """What the readings of a quantity must be: unit and kind, and the range that they fall in."""

    unit: str
    kind: ValueKind
    low: float = -sys.float_info.max
    high: float = sys.float_info.max

    @property
    def is_bounded(self) -> bool:
        """Whether some finite numbers are out of range."""
        return self.low > -sys.float_info.max or self.high < sys.float_info.max

    def objection(self, value: float) -> Objection | None:
        """Return why a value in the canonical unit is refused, ``None`` where it is fine."""
        return None if self.low <= value <= self.high else self.refusal(value)

    def refusal(self, value: float) -> Objection:
        """Return why a value that is out of range is refused."""
        if not math.isfinite(value):
            return Objection("value-not-finite", f"is {value}; expected a finite number")
        if value < self.low:
            return Objection(
                "negative", f"is {value} {self.unit}; expected {self.low:g} or more: turn the sign"
            )
        return Objection(
            "ratio-too-large",
            f"is {value}; expected a ratio from 0 to 1. In SenML % is a ratio too: "
            "send a percentage as %EL or /100",
        )


def expected_of(device: str, quantity: str) -> Expected | None:
    """Return what the house expects of a quantity, ``None`` where it does not know it."""
    known = quantity_of(device, quantity)
    if known is None:
        return None
    low = 0.0 - SLACK_BELOW_ZERO[known.unit] if known.never_negative else -sys.float_info.max
    high = MOST_RATIO if known.unit == "/" else sys.float_info.max
    return Expected(known.unit, "number", low, high)


def time_objection(at_ms: int, received_ms: int) -> Objection | None:
    """Return why an instant is refused, ``None`` where it is fine. [ms, UTC epoch]"""
    if at_ms < EARLIEST_MS:
        return too_old(at_ms)
    if at_ms > received_ms + MOST_AHEAD_MS:
        return too_far_ahead(at_ms, received_ms)
    return None


def too_old(at_ms: int) -> Objection:
    """Return why an instant before 2015 is refused."""
    return Objection(
        "time-too-old", f"is dated {shown_time(at_ms)}; expected 2015 or later: set the clock"
    )


def too_far_ahead(at_ms: int, received_ms: int) -> Objection:
    """Return why an instant of the future is refused."""
    return Objection(
        "time-ahead",
        f"is dated {shown_time(at_ms)} and came at {shown_time(received_ms)}; "
        "expected at most 10 minutes ahead: set the clock",
    )
