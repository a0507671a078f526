"""How numbers, dates and times read for a person. Nothing else in the house rounds.

A true minus sign, a no-break space before a unit, and names of days and months of our own, so
that a page does not change with the machine's locale; separators, the order of a date and the
clock are those of the reader's region.
"""

import math
import re

from joulebook.core.quantities import kind_of
from joulebook.web.region.dates import (
    DASH,
    NBSP,
    clock,
    clock_tick,
    day_brief,
    day_long,
    day_of_year,
    day_plain,
    day_short,
    days_between,
    iso_brief,
    iso_plain,
    moment,
    month_long,
    month_short,
    quarter,
)
from joulebook.web.region.regions import current
from joulebook.web.words import texts

#: What stands in another file and is asked for here: a caller need not know where.
__all__ = [
    "DASH",
    "NBSP",
    "clock",
    "clock_tick",
    "day_brief",
    "day_long",
    "day_of_year",
    "day_plain",
    "day_short",
    "days_between",
    "iso_brief",
    "iso_plain",
    "moment",
    "month_long",
    "month_short",
    "quarter",
]

NOTHING = "not given"


def fixed(value: float, digits: int) -> str:
    """Return a number with so many decimals, a true minus, and never a minus before zero."""
    text = f"{value:.{digits}f}"
    if not text.strip("-0."):
        text = text.lstrip("-")
    return current().number(text).replace("-", "\N{MINUS SIGN}")


def signed(value: float, digits: int) -> str:
    """Return a number with its sign, whichever it is; nothing has none."""
    text = fixed(value, digits)
    return f"+{text}" if value > 0 and text.strip("0.,") else text


def significant(value: float, figures: int) -> str:
    """Return a number rounded to so many significant figures, written without an exponent."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{figures - 1}e}")
    return fixed(rounded, max(0, figures - 1 - math.floor(math.log10(abs(rounded)))))


def kwh_words(wh: float | None) -> str:
    """Return energy for a sentence: two figures below 100 kWh, whole kWh above."""
    if wh is None:
        return NOTHING
    kwh = wh / 1000
    if abs(kwh) < 0.05:
        return f"{fixed(kwh, 2)}{NBSP}kWh"
    return f"{significant(kwh, 2) if abs(kwh) < 100 else fixed(kwh, 0)}{NBSP}kWh"


def kwh_cell(wh: float | None) -> str:
    """Return energy for a table's cell: kWh with one decimal, the unit being in the heading."""
    return NOTHING if wh is None else fixed(wh / 1000, 1)


def kwh_whole(wh: float | None) -> str:
    """Return energy for a table of months: whole kWh, the unit being in the heading."""
    return NOTHING if wh is None else fixed(wh / 1000, 0)


def kwh_interval(low_wh: float | None, high_wh: float | None) -> str:
    """Return an interval for a table's cell, in kWh with one decimal."""
    return interval(_thousandth(low_wh), _thousandth(high_wh), 1)


def interval(low: float | None, high: float | None, digits: int) -> str:
    """Return ``low`` to ``high`` with so many decimals; "to" where a dash would read as minus."""
    if low is None or high is None:
        return NOTHING
    between = f"{NBSP}to " if low < 0 else DASH
    return f"{fixed(low, digits)}{between}{fixed(high, digits)}"


def percent(ratio: float | None, digits: int = 1) -> str:
    """Return a ratio as per cent."""
    return NOTHING if ratio is None else f"{fixed(ratio * 100, digits)}{NBSP}%"


def percent_interval(low_ratio: float | None, high_ratio: float | None) -> str:
    """Return an interval of ratios as per cent with one decimal."""
    if low_ratio is None or high_ratio is None:
        return NOTHING
    return interval(low_ratio * 100, high_ratio * 100, 1)


def measured(coverage_ratio: float) -> str:
    """Return coverage as per cent, rounded down: only the whole span reads as 100 %."""
    share = coverage_ratio * 100
    if share >= 100:
        return f"100{NBSP}%"
    # The small addition undoes the binary error of a ratio such as 0.29 * 100.
    if share >= 99:
        return f"{fixed(math.floor(share * 10 + 1e-9) / 10, 1)}{NBSP}%"
    if 0 < share < 1:
        return f"<{NBSP}1{NBSP}%"
    return f"{math.floor(share + 1e-9)}{NBSP}%"


def value_text(value: float | str | bool | None, unit: str, quantity: str) -> str:  # noqa: FBT001 - a reading is what it is
    """Return one reading with its unit: kW above 1000 W, kWh for energy, % for ratios."""
    if value is None:
        return "missing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    digits = 3 if quantity.startswith("cell_voltage") else _DIGITS.get(unit, 2)
    if unit == "W" and abs(value) >= 1000:
        return f"{fixed(value / 1000, 2)}{NBSP}kW"
    if unit == "Wh":
        return f"{fixed(value / 1000, 1)}{NBSP}kWh"
    if unit == "/":
        return percent(value, 0)
    return f"{fixed(value, digits)}{NBSP}{_UNITS.get(unit, unit)}".rstrip(NBSP)


_DIGITS = {"V": 1, "A": 1, "W": 0, "Cel": 1, "Hz": 2}
_UNITS = {"Cel": "°C"}


def kw_cell(value_w: float | None) -> str:
    """Return power for a table's cell: kW with two decimals; a dash where none was measured."""
    return DASH if value_w is None else fixed(value_w / 1000, 2)


def duration(seconds: float) -> str:
    """Return how long, in the two largest units that matter; less than nothing is nothing."""
    whole = max(0, int(seconds))
    if whole < 60:
        return f"{whole}{NBSP}s"
    minutes, hours = whole // 60, whole // 3600
    if minutes < 60:
        return f"{minutes}{NBSP}min"
    if hours < 24:
        return f"{hours}{NBSP}h {minutes % 60}{NBSP}min"
    days = hours // 24
    return f"{days}{NBSP}day{'' if days == 1 else 's'}"


def age(seconds: float) -> str:
    """Return how long ago."""
    return f"{duration(seconds)} ago"


def told(sentence: str) -> str:
    """Return a sentence of the floors below with its numbers as the pages write them."""
    spaced = _PER_CENT.sub(f"{NBSP}%", sentence)
    return _POINT.sub(current().decimal, spaced)


_POINT = re.compile(r"(?<=\d)\.(?=\d)")
_PER_CENT = re.compile(r"(?<=\d)%")


def method_pages(method: str) -> str:
    """Return where a method is described: docs/methods/sum.md for ``sum-1``."""
    names = (name.rpartition("-")[0] for name in method.split(" of "))
    return ", ".join(f"docs/methods/{name}.md" for name in names)


def device_label(device: str) -> str:
    """Return what a device is called on a page: "Battery 2" for ``battery-2``."""
    kind = kind_of(device)
    suffix = device[len(kind) + 1 :]
    word = texts.DEVICE_WORDS.get(kind, kind)
    return f"{word} {suffix}" if suffix else word


def capital(sentence: str) -> str:
    """Return a sentence with its first letter in upper case."""
    return sentence[:1].upper() + sentence[1:]


def odds(probability: float) -> str:
    """Return a probability as whole per cent; one that is computed is never quite 0 or 1."""
    if probability > 0.99:
        return f"more than 99{NBSP}%"
    if probability < 0.01:
        return f"less than 1{NBSP}%"
    return percent(probability, 0)


def _thousandth(value: float | None) -> float | None:
    return None if value is None else value / 1000
