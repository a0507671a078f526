"""A studio of round numbers behind the real application, and what a page of it holds.

The clock stands at Wednesday 4 March 2026, 12:00 UTC, which is Lisbon's time in winter. Readings
come every five minutes from Monday 23 February on:

- panels 1500 W, use 1000 W; battery +400 W before noon and -400 W after; grid 0 W before noon
  and -800 W after, so that 100 W are always lost;
- nothing on Sunday 1 March, nor from 06:00 to 12:00 on Tuesday 3 March.

A whole day is 36 kWh made, 24 used, 4.8 in, 4.8 out, 9.6 sold, 2.4 lost.
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

from fastapi import FastAPI
from fastapi.testclient import TestClient

from joulebook.ingest.inbox import Inbox
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Site, Value
from joulebook.summaries.recompute import recompute
from joulebook.web.access.rules import AccessRules
from joulebook.web.app import build_app
from joulebook.web.watch.health import Health
from tests.helpers.databases import write

#: 2026-03-04T12:00:00Z, and 2026-02-23T00:00:00Z. [ms, UTC epoch]
NOW_MS = 1_772_625_600_000
FIRST_MS = 1_771_804_800_000
HOUR_MS = 3_600_000
_STEP_MS = 300_000
#: Where the client asks. With no owner yet, whoever asks there may do everything.
HOUSE = "http://127.0.0.1"
_SILENT = ((144, 168), (198, 204))  # hours since the first reading


@dataclass(frozen=True, slots=True)
class Studio:
    """The application, a client of it, and what stands behind."""

    client: TestClient
    database: Database
    site: Site


def application(
    database: Database,
    *,
    clock_ms: Callable[[], int] = lambda: NOW_MS,
    health: Callable[[], Health] = lambda: Health(ready=True),
    inbox: Inbox | None = None,
    rules: AccessRules = AccessRules(),  # noqa: B008 - frozen
) -> FastAPI:
    """Return the application on a database."""
    return build_app(
        database,
        clock_ms=clock_ms,
        health=health,
        inbox=inbox or Inbox(database, clock_ms=clock_ms),
        wrote=lambda: None,
        version="1.2.3",
        rules=rules,
    )


def client_of(
    database: Database,
    *,
    now_ms: int = NOW_MS,
    health: Callable[[], Health] = lambda: Health(ready=True),
    inbox: Inbox | None = None,
) -> TestClient:
    """Return a client at this machine, a browser's; a mistake of ours comes back as its answer."""
    return TestClient(
        application(database, clock_ms=lambda: now_ms, health=health, inbox=inbox),
        base_url=HOUSE,
        client=("127.0.0.1", 50000),
        headers={"Origin": HOUSE},  # browsers name it with every POST
        raise_server_exceptions=False,
        follow_redirects=False,
    )


def empty_studio(data_dir: Path) -> Studio:
    """Return a studio that waits for its first reading."""
    database = Database.open(data_dir)
    site = add_site(database, "studio", "Europe/Lisbon", battery_ah=200.0, battery_cells=16)
    return Studio(client_of(database), database, site)


def measured_studio(data_dir: Path) -> Studio:
    """Return the studio with its readings, its days summed up."""
    studio = empty_studio(data_dir)
    instants = [
        at_ms
        for at_ms in range(FIRST_MS, NOW_MS, _STEP_MS)
        if not any(start <= (at_ms - FIRST_MS) / HOUR_MS < end for start, end in _SILENT)
    ]
    with closing(studio.database.connect()) as connection:
        for device, columns, values in _DEVICES:
            rows = {at_ms: values(_hour(at_ms)) for at_ms in instants}
            write(connection, studio.site, device, rows, columns)
    recompute(studio.database, studio.site, clock_ms=lambda: NOW_MS)
    return studio


def _hour(at_ms: int) -> float:
    return (at_ms - FIRST_MS) / HOUR_MS % 24


_Values = Callable[[float], dict[str, Value]]
_POWER = (Column("power", "W"),)
_DEVICES: tuple[tuple[str, tuple[Column, ...], _Values], ...] = (
    ("pv", _POWER, lambda _: {"power": 1500.0}),
    ("load", _POWER, lambda _: {"power": 1000.0}),
    ("grid", _POWER, lambda hour: {"power": 0.0 if hour < 12 else -800.0}),
    (
        "battery",
        (*_POWER, Column("soc", "/"), Column("current", "A")),
        lambda hour: {
            "power": 400.0 if hour < 12 else -400.0,
            "soc": 0.3 + 0.4 * (1 - abs(hour - 12) / 12),
            "current": 8.0 if hour < 12 else -8.0,
        },
    ),
    (
        "inverter",
        (Column("mode", "", kind="text"), Column("fan", "", kind="flag")),
        lambda hour: {"mode": "inverting", "fan": hour >= 12},
    ),
)


class Outline(HTMLParser):
    """What a page is made of, as a reader without eyes or scripts meets it."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def named(self, tag: str) -> list[dict[str, str | None]]:
        """Return the attributes of every element of a name."""
        return [attributes for name, attributes in self.tags if name == tag]

    @property
    def text(self) -> str:
        """All words of the page, with ordinary spaces."""
        return " ".join(" ".join(self.words).split())


def outline(html: str) -> Outline:
    """Return the outline of a page."""
    parsed = Outline()
    parsed.feed(html)
    return parsed


def words_of(html: str) -> str:
    """Return the words of a page, with ordinary spaces."""
    return outline(html).text
