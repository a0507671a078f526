"""What a form sent, checked field by field: every fault is named beside its field."""

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from joulebook.errors import UsageError
from joulebook.web.words import fault_texts as faults

#: A form of ours is shorter than this. [byte]
MOST_BYTES = 65_536

_T = TypeVar("_T")
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)


class Form:
    """The fields of a form and what is wrong with them.

    Each reader returns ``None`` both where a field is empty and where it is wrong; in the second
    case `errors` names it, and the page is shown again with what was written.

    Parameters
    ----------
    fields : mapping of str to str
        What was sent; empty for a form that is shown for the first time.
    files : mapping of str to bytes
        Files that were sent with it.
    """

    def __init__(
        self, fields: Mapping[str, str] | None = None, files: Mapping[str, bytes] | None = None
    ) -> None:
        self.fields = dict(fields or {})
        self.files = dict(files or {})
        self.errors: dict[str, str] = {}

    def value(self, name: str, otherwise: object = "") -> str:
        """Return what stands in a field of the page: what was sent, else what holds now."""
        return self.fields.get(name, "" if otherwise is None else str(otherwise))

    def text(self, name: str, *, most: int = 80, needed: bool = False) -> str:
        """Return a text of at most so many characters; empty where none was given."""
        text = self.fields.get(name, "").strip()
        if len(text) > most:
            self.errors[name] = faults.too_long(len(text), most)
        elif needed and not text:
            self.errors[name] = faults.NEEDED
        return text

    def number(self, name: str, *, low: float, high: float) -> float | None:
        """Return a number from ``low`` to ``high``; a decimal comma is taken as a point."""

        def read(text: str) -> float:
            number = float(text.replace(",", "."))
            if not low <= number <= high:  # NaN and infinity do not pass
                raise ValueError
            return number

        return self._read(name, read, faults.number_within(low, high))

    def whole(self, name: str, *, low: int, high: int) -> int | None:
        """Return a whole number from ``low`` to ``high``."""

        def read(text: str) -> int:
            number = int(text)
            if not low <= number <= high:
                raise ValueError
            return number

        return self._read(name, read, faults.whole_within(low, high))

    def day(self, name: str) -> date | None:
        """Return a date between 1990 and 2199, as browsers send it: YYYY-MM-DD."""

        def read(text: str) -> date:
            if _DAY.fullmatch(text) is None:  # fromisoformat takes weeks too
                raise ValueError
            day = date.fromisoformat(text)
            if not 1990 <= day.year <= 2199:
                raise ValueError
            return day

        return self._read(name, read, faults.DAY)

    def moment(self, name: str, zone: ZoneInfo) -> int | None:
        """Return the instant of a local time, as browsers send it: YYYY-MM-DDTHH:MM. [ms]

        Of a time that the clocks of the zone show twice, the first.
        """

        def read(text: str) -> int:
            at = datetime.fromisoformat(text)
            if _DAY.match(text) is None or at.tzinfo is not None or not 1990 <= at.year <= 2199:
                raise ValueError
            return round(at.replace(tzinfo=zone).timestamp() * 1000)

        return self._read(name, read, faults.MOMENT)

    def choice(self, name: str, among: Sequence[str]) -> str:
        """Return one of some words; the first where none was given."""
        text = self.fields.get(name, "")
        if not text:
            return among[0]
        if text not in among:
            self.errors[name] = faults.one_of(among)
            return among[0]
        return text

    def ticked(self, name: str) -> bool:
        """Tell whether a box is ticked."""
        return bool(self.fields.get(name))

    def file(self, name: str) -> bytes:
        """Return the file that must be chosen; empty where none was."""
        content = self.files.get(name, b"")
        if not content:
            self.errors[name] = faults.CHOOSE
        return content

    def refuse(self, error: UsageError, name: str = "") -> None:
        """Note what the floor below refused, beside a field or above the form."""
        self.errors[name] = faults.refused(error.what, error.expected)

    def _read(self, name: str, read: Callable[[str], _T], expected: str) -> _T | None:
        text = self.fields.get(name, "").strip()
        if not text:
            return None
        try:
            return read(text.replace("_", "?"))  # Python reads 1_000 as a number; people do not
        except (ValueError, OverflowError):
            self.errors[name] = expected
            return None
