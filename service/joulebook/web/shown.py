"""Numbers of a document as a table's rows: the value, its interval, coverage, or the reason."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.words.texts import SAME_REASON

_UNBROKEN_DASH = f"\N{WORD JOINER}{formats.DASH}\N{WORD JOINER}"


@dataclass(frozen=True, slots=True)
class Unit:
    """How a number of a document is written: times a scale, with so many decimals and a unit."""

    scale: float
    digits: int
    name: str

    def text(self, value: float | None) -> str:
        """Return one number with its unit."""
        if value is None:
            return formats.NOTHING
        return f"{formats.fixed(value * self.scale, self.digits)}{formats.NBSP}{self.name}".rstrip()

    def signed(self, value: float) -> str:
        """Return a difference: a number with its sign and unit."""
        return f"{formats.signed(value * self.scale, self.digits)}{formats.NBSP}{self.name}"

    def interval(self, low: float | None, high: float | None) -> str:
        """Return an interval without the unit, which stands beside it."""
        if low is None or high is None:
            return formats.NOTHING
        return formats.interval(low * self.scale, high * self.scale, self.digits)

    def within(self, low: float | None, high: float | None) -> str:
        """Return an interval with its unit, for a sentence: no line ends inside of it."""
        joined = self.interval(low, high).replace(formats.DASH, _UNBROKEN_DASH)
        joined = joined.replace(" ", formats.NBSP)
        return f"{joined}{formats.NBSP}{self.name}"

    def words(self, value: float | None, low: float | None, high: float | None) -> str:
        """Return a number with its interval, for a sentence."""
        return f"{self.text(value)} ({self.within(low, high)})"


PERCENT = Unit(100.0, 1, "%")
PERCENT_WHOLE = Unit(100.0, 0, "%")
POINTS = Unit(100.0, 1, "points")
AMPERE_HOURS = Unit(1.0, 0, "Ah")
AMPERE_HOURS_FINE = Unit(1.0, 1, "Ah")
KWH = Unit(0.001, 1, "kWh")
KWH_WHOLE = Unit(0.001, 0, "kWh")
#: Watts all year round; a year has 365.25 days.
KWH_A_YEAR = Unit(8.766, 0, "kWh")
WATTS = Unit(1.0, 0, "W")
WATTS_FINE = Unit(1.0, 1, "W")
MILLIOHM = Unit(1000.0, 1, "mΩ")
CYCLES = Unit(1.0, 1, "")
HOURS = Unit(1.0, 0, "h")
CELSIUS = Unit(1.0, 1, "°C")


@dataclass(frozen=True, slots=True)
class Shown:
    """A row: a label, and a number in words.

    Attributes
    ----------
    label, note : str
        What it is, and a smaller word on it.
    value, interval : str or None
        ``None`` where it is not given; an interval may be given without a value.
    measured : str
        The share of the time that it rests on.
    method : str
        Name and version.
    reason : str or None
        Why there is no value.
    """

    label: str
    note: str
    value: str | None
    interval: str | None
    measured: str
    method: str
    reason: str | None


def ends_of(number: Document, key: str) -> tuple[float | None, float | None]:
    """Return the interval's ends of a document's number, whichever way they are called."""
    suffixed = f"low_{key}" in number
    low, high = (f"{end}_{key}" if suffixed else end for end in ("low", "high"))
    return number.get(low), number.get(high)


def without_repeats(rows: Sequence[Shown], *, said: str | None = None) -> list[Shown]:
    """Return rows in which a reason that was ``said`` before is only referred to."""
    told = []
    for row in rows:
        again = row.reason is not None and row.reason == said and row.interval is None
        said = row.reason or said
        told.append(replace(row, reason=SAME_REASON) if again else row)
    return told


def shown(label: str, number: Document, key: str, unit: Unit, *, note: str = "") -> Shown:
    """Return the row of a document's number, whose value is called ``key``."""
    value, (low, high) = number[key], ends_of(number, key)
    return Shown(
        label=label,
        note=note,
        value=None if value is None else unit.text(value),
        interval=None if low is None else unit.interval(low, high),
        measured=formats.measured(number.get("coverage_ratio", 0.0)),
        method=number.get("method", ""),
        reason=number.get("reason"),
    )
