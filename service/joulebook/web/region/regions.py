"""Where a reader is, as far as numbers, dates and times go: separators, order and clock.

Words stay English. What the regions do comes from the Unicode CLDR by way of babel; it is looked
up once for each region, so that a page costs no more than it did (decision 0014).
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from babel import Locale, UnknownLocaleError

#: Which comes first of day, month and year.
Order = Literal["dmy", "mdy", "ymd"]

#: No browser asks for more than this in one header. [characters]
_LONGEST = 200
_SPACE = "\N{NARROW NO-BREAK SPACE}"
_GROUPS = (",", ".", "\N{RIGHT SINGLE QUOTATION MARK}", "'", "\N{NO-BREAK SPACE}", _SPACE)
_TAG = re.compile(r"([a-z]{2,3})(-[a-z]{4})?(?:-([a-z]{2}|\d{3}))?(?:-.*)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """How a region writes numbers, dates and times.

    Attributes
    ----------
    tag : str
        Such as ``de-DE``; empty where nobody has told.
    decimal, group : str
        Between whole and fraction; between thousands, in numbers of five digits and more.
    order : Order
        Of day, month and year.
    half_days : bool
        Whether the clock counts to twelve, twice a day.
    colon : str
        Between hours and minutes.
    """

    tag: str = ""
    decimal: str = "."
    group: str = ""
    order: Order = "dmy"
    half_days: bool = False
    colon: str = ":"

    def number(self, text: str) -> str:
        """Return a number that Python wrote, with the separators of the region."""
        whole, point, fraction = text.partition(".")
        if self.group and len(whole.lstrip("-")) > 4:
            whole = f"{int(whole):,}".replace(",", self.group)
        return f"{whole}{self.decimal if point else ''}{fraction}"


#: Of a reader who has not told: what the house writes.
HOUSE = Region()


@dataclass(slots=True)
class _Reader:
    """Whom a request answers. What a handler in a thread finds out of him, all of it see."""

    region: Region
    chosen: bool


_reader: ContextVar[_Reader | None] = ContextVar("reader", default=None)


def current() -> Region:
    """Return the region of the reader whom this request answers."""
    reader = _reader.get()
    return HOUSE if reader is None else reader.region


@contextmanager
def read_in(region: Region, *, chosen: bool = True) -> Iterator[None]:
    """Write for a reader of a region for as long as the block runs.

    ``chosen`` says that he chose it himself, so that no site's own takes its place.
    """
    token = _reader.set(_Reader(region, chosen))
    try:
        yield
    finally:
        _reader.reset(token)


def settle(locale: str | None) -> None:
    """Go on in the region that a site's owner entered for it, unless the reader chose his own."""
    reader = _reader.get()
    region = region_of(locale) if locale else None
    if reader is not None and region is not None and not reader.chosen:
        reader.region = region


@lru_cache(maxsize=512)
def region_of(tag: str) -> Region | None:
    """Return the region of a language tag (RFC 5646), or ``None`` where it names none.

    English alone names none: it is read everywhere. Any other language alone stands for the
    region where most of its readers are.
    """
    found = _TAG.fullmatch(tag)
    if found is None:
        return None
    language, script = found[1].lower(), (found[2] or "").title().replace("-", "_")
    territory = f"_{found[3].upper()}" if found[3] else ""
    if language == "en" and not territory:
        return None
    names = [f"{language}{script}{territory}", f"{language}{territory}"]
    for name in (*names, f"und{territory}") if territory else names:
        try:
            locale = Locale.parse(name)
        except (UnknownLocaleError, ValueError):
            continue
        return _described(tag, locale)
    return None


@lru_cache(maxsize=512)
def asked_region(accept_language: str) -> Region | None:
    """Return the region of the languages that a browser asks for (RFC 9110, 12.5.4).

    The first that names a region counts; ``None`` where none does.
    """
    wanted = []
    for part in accept_language[:_LONGEST].split(","):
        tag, _, weight = part.partition(";")
        wanted.append((_weight(weight), tag.strip()))
    wanted.sort(key=lambda each: -each[0])
    regions = (region_of(tag) for weight, tag in wanted if weight > 0)
    return next((region for region in regions if region is not None), None)


def _weight(text: str) -> float:
    name, _, value = text.strip().partition("=")
    try:
        return float(value) if name.strip().lower() == "q" else 1.0
    except ValueError:
        return 0.0


def _described(tag: str, locale: Locale) -> Region:
    symbols = locale.number_symbols["latn"]  # our digits are the European ones everywhere
    clock = locale.time_formats["short"].pattern
    between = re.search(r"[Hh]+(.)mm", clock)
    return Region(
        tag=tag,
        decimal="." if symbols["decimal"] == "." else ",",
        group=symbols["group"] if symbols["group"] in _GROUPS else _SPACE,
        order=_order(locale.date_formats["long"].pattern),
        half_days="h" in re.sub(r"'[^']*'", "", clock),
        colon=between[1] if between is not None and between[1] in ":." else ":",
    )


def _order(pattern: str) -> Order:
    day, month, year = (pattern.find(letter) for letter in "dMy")
    if year < day:
        return "ymd"
    return "mdy" if month < day else "dmy"
