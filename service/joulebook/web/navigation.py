"""The pages of a site, in the order of the row at the top."""

from collections.abc import Sequence
from dataclasses import dataclass

from starlette.routing import BaseRoute, Match


@dataclass(frozen=True, slots=True)
class Entry:
    """One page in the row: what a handler calls it as ``current``, its words, its address."""

    name: str
    words: str
    below: str  # the address after /sites/{site}

    def address(self, site: str) -> str:
        """Return the address of the page of a site."""
        return f"/sites/{site}{self.below}"


ENTRIES = (
    Entry("week", "This week", ""),
    Entry("day", "Today", "/today"),
    Entry("months", "Months", "/months"),
    Entry("checks", "Checks", "/checks"),
    Entry("carry", "Carry", "/carry"),
    Entry("efficiency", "Efficiency", "/efficiency"),
    Entry("wear", "Wear", "/wear"),
    Entry("warranty", "Warranty", "/warranty"),
    Entry("money", "Money", "/money"),
    Entry("alerts", "Alerts", "/alerts"),
    Entry("quarantine", "Set aside", "/quarantine"),
    Entry("setup", "Setup", "/setup"),
)


def entries_of(routes: Sequence[BaseRoute]) -> tuple[Entry, ...]:
    """Return the entries whose page the application has."""
    return tuple(entry for entry in ENTRIES if _answers(routes, entry.address("any")))


def _answers(routes: Sequence[BaseRoute], path: str) -> bool:
    asked = {"type": "http", "method": "GET", "path": path, "headers": []}
    return any(route.matches(dict(asked))[0] is Match.FULL for route in routes)
