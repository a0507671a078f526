"""The pages of a site, in the order of the row at the top."""

from collections.abc import Sequence
from dataclasses import dataclass

from starlette.routing import BaseRoute, Match

from joulebook.web.words.texts import PAGES


@dataclass(frozen=True, slots=True)
class Entry:
    """One page in the row: what a handler calls it as ``current``, its words, its address."""

    name: str
    words: str
    below: str  # the address after /sites/{site}

    def address(self, site: str) -> str:
        """Return the address of the page of a site."""
        return f"/sites/{site}{self.below}"


def _entry(name: str, below: str) -> Entry:
    return Entry(name, PAGES[name], below)


ENTRIES = (
    _entry("week", ""),
    _entry("day", "/today"),
    _entry("months", "/months"),
    _entry("checks", "/checks"),
    _entry("carry", "/carry"),
    _entry("efficiency", "/efficiency"),
    _entry("wear", "/wear"),
    _entry("warranty", "/warranty"),
    _entry("money", "/money"),
    _entry("alerts", "/alerts"),
    _entry("quarantine", "/quarantine"),
    _entry("setup", "/setup"),
)


def entries_of(routes: Sequence[BaseRoute]) -> tuple[Entry, ...]:
    """Return the entries whose page the application has."""
    return tuple(entry for entry in ENTRIES if _answers(routes, entry.address("any")))


def _answers(routes: Sequence[BaseRoute], path: str) -> bool:
    asked = {"type": "http", "method": "GET", "path": path, "headers": []}
    return any(route.matches(dict(asked))[0] is Match.FULL for route in routes)
