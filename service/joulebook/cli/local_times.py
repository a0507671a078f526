"""Times as a person enters and reads them: the site's own clock."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

import click

from joulebook.core.spans import local_day

_TIMES = ("%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S")


@dataclass(frozen=True, slots=True)
class LocalTime:
    """What was entered: a time, or a whole day."""

    moment: datetime
    whole_day: bool

    def begin_ms(self, zone: ZoneInfo) -> int:
        """Return the instant, for a day the one at which it begins. [ms, UTC epoch]"""
        if self.whole_day:
            return local_day(self.moment.date(), zone).start_ms
        # Of an hour that comes twice in autumn the first is meant (fold=0).
        return round(self.moment.replace(tzinfo=zone).timestamp() * 1000)

    def end_ms(self, zone: ZoneInfo) -> int:
        """Return the instant, for a day the one at which it ends. [ms, UTC epoch]"""
        if self.whole_day:
            return local_day(self.moment.date(), zone).end_ms
        return self.begin_ms(zone)


def local_time(text: str) -> LocalTime:
    """Return what was entered: ``2026-07-14``, or with ``12:30`` or ``12:30:15`` after it.

    Raises
    ------
    click.BadParameter
        If it is no such time.
    """
    for form in ("%Y-%m-%d", *_TIMES):
        try:
            # Without a zone on purpose: it is the site's, which is not known here.
            moment = datetime.strptime(text, form)  # noqa: DTZ007
        except ValueError:
            continue
        return LocalTime(moment, whole_day=form not in _TIMES)
    raise click.BadParameter(f"{text!r} is no time; expected one such as '2026-07-14 12:30'")


def shown_local(at_ms: int, zone: ZoneInfo) -> str:
    """Return an instant on the site's own clock, to the minute."""
    return datetime.fromtimestamp(at_ms / 1000, tz=zone).strftime("%Y-%m-%d %H:%M")
