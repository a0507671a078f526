"""New zone data between two runs of the service, and the days on which clocks change."""

from contextlib import closing
from datetime import date, datetime, timedelta
from pathlib import Path

from joulebook.storage.days import day_results
from joulebook.summaries.results import decoded
from tests.faults.computed import all_computed, run
from tests.faults.house import House, house_in, not_whole
from tests.faults.told import Told, counted
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.zone_files import write_zone

ZONE = "Europe/Lisbon"
EVERY = timedelta(minutes=5)


def _import(house: House, first: str, days: int) -> range:
    """Import numbers, one every five minutes; return them."""
    begins = datetime.fromisoformat(first)
    count = days * 288
    file = house.data.parent / "numbers.csv"
    lines = [f"{(begins + place * EVERY).isoformat()},{place}" for place in range(count)]
    file.write_text("time,battery.power [W]\n" + "\n".join(lines) + "\n")
    assert run("import", str(file), "--site=studio", f"--data={house.data}") == 0
    # A start looks for days to compute at once; a service that runs looks once a minute.
    house.service.kill()
    house.start()
    return range(count)


def _days(house: House) -> dict[date, tuple[float, int]]:
    """Return how many hours and readings each day has, once all are computed."""
    wait_until(lambda: all_computed(house.database), 90)
    with closing(house.database.connect()) as connection:
        stored = day_results(connection, house.site.id, None, None)
    results = {day: decoded(result) for day, _, result in stored}
    return {day: (each.hours, each.readings) for day, each in results.items() if each.readings}


def new_zone_data(folder: Path) -> Told:
    """Bring zone data by which clocks went forward on another day, and start the service again."""
    zones = folder / "zones"
    write_zone(zones, ZONE, 0.0, ("2026-03-29T01:00+00:00", 1.0))
    (folder / "data").mkdir()
    environment = {"PYTHONTZPATH": str(zones)}
    with house_in(folder / "data", environment=environment) as house:
        sent = _import(house, "2026-03-20T00:00+00:00", 20)
        before = _days(house)
        house.service.kill()
        write_zone(zones, ZONE, 0.0, ("2026-04-05T01:00+00:00", 1.0))
        house.start()
        wait_until(lambda: _days(house)[date(2026, 4, 5)][0] == 23.0, 90)
        after = _days(house)
        changed = sum(before.get(day) != each for day, each in after.items())
        assert house.end() == 0
        counts = [sum(readings for _, readings in days.values()) for days in (before, after)]
        short = [day.isoformat() for day, (hours, _) in after.items() if hours == 23.0]
        assert counts == [len(sent), len(sent)]
        return counted(
            "new zone data between two runs",
            sent,
            house.numbers(),
            note=f"{changed} days have other readings than before, every reading is of one day; "
            f"23 hours: {', '.join(short)}",
        )


def clocks_change(folder: Path) -> Told:
    """Import the days around both changes of a year: of 23 and of 25 hours."""
    (folder / "data").mkdir()
    with house_in(folder / "data") as house:
        sent = _import(house, "2025-10-20T00:00+00:00", 170)
        days = _days(house)
        assert house.end() == 0
        odd = {day.isoformat(): each for day, each in days.items() if each[0] != 24.0}
        assert sum(readings for _, readings in days.values()) == len(sent)
        said = ", ".join(f"{day}: {hours:g} h, {count}" for day, (hours, count) in odd.items())
        return counted(
            "days of 23 and 25 hours",
            sent,
            house.numbers(),
            rounds=len(odd),
            note=f"readings a day: {said}; 288 on others; {not_whole(house) or 'days are whole'}",
        )


def leap_second(folder: Path) -> Told:
    """Import a file that was written through a leap second, a reading a second."""
    (folder / "data").mkdir()
    with house_in(folder / "data") as house:
        seconds = [f"2016-12-31T23:59:{second:02}Z" for second in (58, 59, 60)]
        seconds += [f"2017-01-01T00:00:{second:02}Z" for second in (0, 1)]
        lines = [f"{at},{number}" for number, at in enumerate(seconds)]
        file = folder / "leap.csv"
        file.write_text("time,battery.power [W]\n" + "\n".join(lines) + "\n")
        assert run("import", str(file), "--site=studio", f"--data={house.data}") == 0
        assert house.end() == 0
        return counted(
            "a leap second in a file (2016-12-31T23:59:60Z)",
            range(len(seconds)),
            house.numbers(),
            note="stored as 23:59:59.999, in its place between its neighbours",
        )
