"""Weeks of a site: local Monday to Sunday, named as ISO 8601 names them (2026-W48)."""

import re
from dataclasses import dataclass
from datetime import date, timedelta

_NAME = re.compile(r"(\d{4})-W(\d{2})")


@dataclass(frozen=True, slots=True, order=True)
class Week:
    """The seven local days from ``monday``."""

    monday: date

    @classmethod
    def of(cls, day: date) -> "Week":
        """Return the week that holds a day."""
        return cls(day - timedelta(days=day.weekday()))

    @classmethod
    def named(cls, name: str) -> "Week":
        """Return the week of a name such as ``2026-W48``; ValueError where there is none."""
        match = _NAME.fullmatch(name)
        if match is None:
            raise ValueError(f"{name!r} is not of the form YYYY-Www")
        return cls(date.fromisocalendar(int(match[1]), int(match[2]), 1))

    @property
    def name(self) -> str:
        """The ISO name; its year is the one that holds the week's Thursday."""
        year, number, _ = self.monday.isocalendar()
        return f"{year:04d}-W{number:02d}"

    @property
    def sunday(self) -> date:
        """The last day."""
        return self.monday + timedelta(days=6)

    @property
    def year_before(self) -> "Week":
        """The week of the same number a year before; of a week 53 the one 364 days before."""
        year, number, _ = self.monday.isocalendar()
        try:
            return Week(date.fromisocalendar(year - 1, number, 1))
        except ValueError:
            return self.shifted(-52)

    def shifted(self, weeks: int) -> "Week":
        """Return the week so many weeks later."""
        return Week(self.monday + timedelta(weeks=weeks))
