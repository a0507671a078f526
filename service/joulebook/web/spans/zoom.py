"""A part of a day: how it is asked for, and the parts around it that a page links to.

Times of an address are those of the site's clock (``?from=07:00&to=09:30``). Where clocks go back
and show an hour twice, the second one is told apart by its offset (``01:30-06:00``).
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from urllib.parse import quote
from zoneinfo import ZoneInfo

from joulebook.core.spans import Span
from joulebook.web.problems import ProblemError
from joulebook.web.region import formats
from joulebook.web.words.texts import ZOOM

#: Nothing shorter is shown: what is between two readings is not known. [ms]
SHORTEST_MS = 120_000
_FORMS = (
    "times of the day such as 07:00 and 09:30, 'from' at least two minutes before 'to', or RFC 3339"
    " times within the day"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A link to another part: its name for scripts, its words, and where it leads if anywhere."""

    name: str
    words: str
    url: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Zoom:
    """A part of a day, or all of it.

    Attributes
    ----------
    day, whole, span : date, Span, Span
        The local day, its instants, and those of the part.
    zone : ZoneInfo
        Of the site.
    path : str
        The address of the day's page.
    """

    day: date
    whole: Span
    span: Span
    zone: ZoneInfo
    path: str

    @property
    def is_part(self) -> bool:
        """Whether it is less than the day."""
        return self.span != self.whole

    @property
    def query(self) -> str:
        """What belongs behind the address of the page or of its figure."""
        return self.query_of(self.span)

    @property
    def words(self) -> str:
        """From when to when, for a heading."""
        start, end = (
            formats.clock(at_ms, self.zone) for at_ms in (self.span.start_ms, self.span.end_ms)
        )
        return f"{start} to {end}"

    def query_of(self, span: Span) -> str:
        """Return the query that asks for a part; none for all of the day."""
        if span == self.whole:
            return ""
        start, end = (quote(self._text(at_ms), safe=":") for at_ms in (span.start_ms, span.end_ms))
        return f"?from={start}&to={end}"

    def steps(self) -> list[Step]:
        """Return the links to the parts around this one."""
        length = self.span.end_ms - self.span.start_ms
        middle = (self.span.start_ms + self.span.end_ms) // 2
        return [
            self._step("earlier", self._around(middle - length, length)),
            self._step("later", self._around(middle + length, length)),
            self._step("closer", self._around(middle, max(length // 2, SHORTEST_MS))),
            self._step("wider", self._around(middle, 2 * length)),
            self._step("whole", self.whole),
        ]

    def _step(self, name: str, span: Span) -> Step:
        url = None if span == self.span else self.path + self.query_of(span)
        return Step(name=name, words=ZOOM[name], url=url)

    def _around(self, middle_ms: int, length_ms: int) -> Span:
        """Return a part about an instant, moved into the day, on whole minutes."""
        length_ms = max(SHORTEST_MS, length_ms // 60_000 * 60_000)
        latest_ms = self.whole.end_ms - length_ms
        start_ms = min(middle_ms - length_ms // 2, latest_ms)
        start_ms = max(self.whole.start_ms, start_ms // 60_000 * 60_000)
        return Span(start_ms, min(self.whole.end_ms, start_ms + length_ms))

    def _text(self, at_ms: int) -> str:
        """Return an instant as it stands in an address."""
        if at_ms == self.whole.end_ms:
            return "24:00"
        local = datetime.fromtimestamp(at_ms / 1000, tz=self.zone)
        if _instant_ms(self.day, local.time().replace(fold=0), self.zone) != at_ms:
            return local.isoformat(timespec="seconds")[len("2026-11-25T") :]
        return f"{local:%H:%M}" if at_ms % 60_000 == 0 else f"{local:%H:%M:%S}"


def asked_zoom(
    from_text: str | None, to_text: str | None, *, day: date, whole: Span, zone: ZoneInfo, path: str
) -> Zoom:
    """Return the part of a day that was asked for; all of it where an end was left open.

    Raises
    ------
    ProblemError
        If a time is none of the day, or the part is shorter than two minutes.
    """
    ends = (
        whole.start_ms if from_text is None else _asked_ms(from_text, day, whole, zone),
        whole.end_ms if to_text is None else _asked_ms(to_text, day, whole, zone),
    )
    start_ms, end_ms = ends
    if start_ms is None or end_ms is None or end_ms - start_ms < min(SHORTEST_MS, _length(whole)):
        raise ProblemError(
            422,
            "invalid-instant",
            f"{(from_text or 'midnight')[:40]} to {(to_text or 'midnight')[:40]} is no part of"
            f" {formats.day_plain(day)}",
            where="query parameters 'from' and 'to'",
            expected=_FORMS,
            next_step="leave both out for the whole day",
            link=path,
        )
    return Zoom(day=day, whole=whole, span=Span(start_ms, end_ms), zone=zone, path=path)


def _length(span: Span) -> int:
    return span.end_ms - span.start_ms


def _asked_ms(text: str, day: date, whole: Span, zone: ZoneInfo) -> int | None:
    """Return the instant of a time of the day or of an RFC 3339 time; ``None`` for none of it."""
    if text == "24:00":
        return whole.end_ms
    try:
        if len(text) <= len("00:00:00+00:00"):
            at_ms = _instant_ms(day, time.fromisoformat(text), zone)
        else:
            at = datetime.fromisoformat(text)
            at_ms = round(at.timestamp()) * 1000 if at.tzinfo else -1
    except (ValueError, OverflowError):
        return None
    return at_ms if whole.start_ms <= at_ms <= whole.end_ms else None


def _instant_ms(day: date, at: time, zone: ZoneInfo) -> int:
    """Return when the clocks show a time of the day, with the offset that it names if it does."""
    local = datetime.combine(day, at, tzinfo=at.tzinfo or zone)
    return round(local.astimezone(UTC).timestamp()) * 1000
