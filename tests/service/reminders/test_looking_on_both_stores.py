"""A look back tells the same on a file and on a server, hour by hour, whatever happens meanwhile.

A file reads rows one by one and a server packs them: each is the other's witness.
"""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import pytest

from joulebook.core.corrections import Correction
from joulebook.core.quantities import quantity_of
from joulebook.reminders import looking_back
from joulebook.reminders.deciding import decide
from joulebook.reminders.looking_back import seen_back
from joulebook.reminders.seen import Seen
from joulebook.storage.alerts import watches_of
from joulebook.storage.corrections import add_correction, withdraw_correction
from joulebook.storage.database import Connection, Database, ServerPlace
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.sealing import seal
from joulebook.summaries.checks_kept import Trouble, kept_trouble
from joulebook.summaries.checks_report import checks_report
from joulebook.summaries.numbers import Document
from joulebook.summaries.recompute import catch_up
from tests.helpers.checked_sites import DAYS, START_MS, CheckedSite, sound_site
from tests.helpers.databases import studio, write
from tests.helpers.postgres import PostgresServer

pytestmark = pytest.mark.outside

HOUR_MS = 3_600_000
#: Of the plant's record: from where it is reported, and in which hours it is looked at.
BEGIN_HOUR, LAST_HOUR = 24 * (DAYS - 2), 24 * DAYS
FIRST_HOUR = LAST_HOUR - 7


@dataclass(frozen=True)
class Look:
    """What one look told, and what it was made of."""

    seen: list[Seen]
    happened: list[tuple[str, str, str]]
    trouble: list[Trouble]
    checks: Document


def unit_of(device: str, name: str) -> str:
    """Return the unit that a quantity is kept in."""
    known = quantity_of(device, name)
    assert known is not None, f"{device}/{name}"
    return known.unit


def report(connection: Connection, site: Site, plant: CheckedSite, device: str, h: range) -> None:
    """Let a device report what it measured in some hours of the plant's record."""
    values = plant.devices[device]
    columns = [Column(name, unit_of(device, name)) for name in values]
    rows: dict[int, dict[str, Value]] = {
        int(plant.at_ms[minute]): {name: float(each[minute]) for name, each in values.items()}
        for minute in range(h.start * 60, h.stop * 60)
    }
    write(connection, site, device, rows, columns)


def happening(
    step: int, database: Database, connection: Connection, site: Site, now_ms: int
) -> None:
    """Do to a site, in an hour of these, what a cache of what was seen would have to notice."""
    plant = sound_site()
    if step == 2:  # the battery was silent for two hours; its bridge had kept them
        report(connection, site, plant, "battery", range(FIRST_HOUR, FIRST_HOUR + 2))
    elif step == 3:
        wrong = Correction(id=0, device="grid", quantity="power", kind="sign", made_ms=now_ms)
        add_correction(connection, site, wrong)
    elif step == 4:
        seal(connection, now_ms + 2 * 24 * HOUR_MS)
        catch_up(database, site, clock_ms=lambda: now_ms, helped=False)
    elif step == 5:
        withdraw_correction(connection, site, 1, now_ms=now_ms)
    elif step == 6:  # into sealed days: one leg of all of them carried nothing
        dead = plant.changed("load", power_l1=lambda leg: leg * 0.0)
        report(connection, site, dead, "load", range(BEGIN_HOUR, LAST_HOUR))


def hourly(data_dir: Path, place: ServerPlace | None) -> Iterator[Look]:
    """Yield what the looks of some hours tell; before the last two the service starts again."""
    plant = sound_site()
    database, site = studio(data_dir, "UTC", place)
    with closing(database.connect()) as connection:
        for device in plant.devices:
            report(connection, site, plant, device, range(BEGIN_HOUR, FIRST_HOUR))
    for step, hour in enumerate(range(FIRST_HOUR, LAST_HOUR)):
        if step == 5:
            database.close()
            database = Database.open(data_dir, place)
        now_ms = START_MS + (hour + 1) * HOUR_MS
        with closing(database.connect()) as connection:
            for device in plant.devices:
                if device != "battery" or step > 1:
                    report(connection, site, plant, device, range(hour, hour + 1))
            happening(step, database, connection, site, now_ms)
            watches = watches_of(connection, site.id)
            seen = list(seen_back(database, connection, site, watches, now_ms=now_ms))
            happened = decide(connection, site, seen, now_ms=now_ms, address="")
            yield Look(
                seen,
                [(each.change, each.episode.rule, each.episode.sentence) for each in happened],
                kept_trouble(connection, site.id),
                checks_report(database, site, None, None, now_ms=now_ms),
            )
    database.close()


def test_every_hour_tells_the_same_to_the_last_bit(
    postgres: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk = SimpleNamespace(free_bytes=1, size_bytes=100)  # the disk's own differs each time
    monkeypatch.setattr(looking_back, "room_of", lambda _: disk)
    on_file = list(hourly(tmp_path / "file", None))
    on_server = list(hourly(tmp_path / "server", postgres.emptied_place()))
    # Floats are equal only where every bit is, but for the sign of nothing.
    assert on_server == on_file
    assert [each for look in on_file for each in look.happened if each[:2] == ("opened", "disk")]
    troubles = [{(each.name, each.device) for each in look.trouble} for look in on_file]
    assert [("heard", "battery") in each for each in troubles] == [True] * 2 + [False] * 5
    assert [("sign", "grid") in each for each in troubles] == [False] * 3 + [True] * 2 + [False] * 2
    assert [("legs", "load") in each for each in troubles] == [False] * 6 + [True]
    rules = {each.rule for look in on_file for each in look.seen}
    assert rules >= {"gap", "idle-jump", "lugs", "legs", "neutral", "disk", "backup"}
