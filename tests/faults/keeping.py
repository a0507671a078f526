"""``kill -9`` while old readings are removed: what is to stay stays, and so do the results."""

import random
import shutil
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database
from joulebook.storage.keeper import Keeper
from joulebook.storage.reading import read_device
from joulebook.storage.records import Site
from joulebook.storage.sealing import seal
from joulebook.summaries.quarters import catch_up_quarters
from joulebook.summaries.recompute import recompute
from tests.faults.computed import results, run
from tests.faults.house import ALWAYS, now_ms
from tests.faults.told import Told, counted
from tests.helpers.databases import write
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.told_processes import ToldProcess

#: A day in each month, a reading every ten minutes.
A_DAY = 144
DEVICES = ("battery", "pv", "load")


def old_home(data: Path, months: int) -> Database:
    """Return a home with years of readings, all computed and sealed, of three devices."""
    database = Database.open(data)
    site = add_site(database, "studio", "Europe/Lisbon")
    first = datetime.now(UTC) - timedelta(days=30.5 * months)
    with closing(database.connect()) as connection:
        for month in range(months):
            start_ms = round((first + timedelta(days=30.5 * month)).timestamp()) * 1000
            for device in DEVICES:
                values = {
                    start_ms + 600_000 * place: {"power": float(A_DAY * month + place)}
                    for place in range(A_DAY)
                }
                write(connection, site, device, values)
        seal(connection, now_ms())
        recompute(database, site, clock_ms=now_ms)
        catch_up_quarters(connection, now_ms=now_ms())
    (data / "joulebook.toml").write_text("keep_years = 1\n")
    return database


def kept(database: Database, site: Site) -> list[int]:
    """Return the numbers that are still there, of all devices."""
    with closing(database.connect()) as connection:
        return [
            place * 10_000 + int(number)
            for place, device in enumerate(DEVICES)
            for number in read_device(connection, site.id, device, ALWAYS).values["power"]
        ]


def killed_keepers(folder: Path, rounds: int, seed: int = 1, *, months: int = 30) -> Told:
    """Kill the service while it removes; a twin that nobody kills says what is to stay."""
    chance = random.Random(seed)
    twin = old_home(folder / "twin", months)
    shutil.copytree(folder / "twin", folder / "original")
    site = site_named(twin, "studio")
    before = results(twin)
    keeper = Keeper(twin, clock_ms=now_ms, keep_years=1)
    keeper.start()
    wait_until(lambda: len(kept(twin, site)) < len(DEVICES) * months * A_DAY)
    keeper.stop()
    to_stay = kept(twin, site)
    sent, stored, struck, unlike = set[int](), list[int](), 0, 0
    for turn in range(rounds):
        data = folder / str(turn)
        shutil.copytree(folder / "original", data)
        arguments = ("serve", f"--data={data}", "--port=0", "--mqtt-port=0")
        service = ToldProcess("keeper", *arguments)
        service.wait_for(1, 60)
        time.sleep(chance.uniform(0, 0.05))
        service.kill()
        struck += service.inside
        again = ToldProcess("none", *arguments)
        again.wait_until_open()
        database = Database(data)
        wait_until(lambda one=database: len(kept(one, site)) <= len(to_stay), 60)  # type: ignore[misc]
        assert again.end() == 0
        assert run("verify", f"--data={data}") == 0
        after = results(database)
        unlike += sum(before[key] != after.get(key) for key in before)
        sent |= {turn * 100_000 + number for number in to_stay}
        stored += [turn * 100_000 + number for number in kept(database, site)]
        database.close()
        shutil.rmtree(data)
    twin.close()
    told = counted(
        "kill -9, keeper (removes what is older than a year)",
        sent,
        stored,
        rounds=rounds,
        struck=struck,
        note=f"in: what is to stay; {len(before)} results and months, {unlike} unlike",
    )
    assert unlike == 0
    return told
