"""What a look sees: the newest readings, days, checks, the record and the house."""

import inspect
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from joulebook.core.alerts.episodes import Watch
from joulebook.core.alerts.rules import BY_NAME
from joulebook.core.corrections import Correction
from joulebook.core.daily.conversion import NightSums
from joulebook.core.daily.days import DayResult
from joulebook.core.spans import date_of
from joulebook.reminders import looking_back, looking_now
from joulebook.reminders.looking_back import seen_back
from joulebook.reminders.looking_now import FRESH_MS, seen_now
from joulebook.reminders.seen import Seen
from joulebook.storage.alerts import KeptWatch
from joulebook.storage.backup_notes import BackupNote, note_backup
from joulebook.storage.catalogue import site_named
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Connection, Database
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.site_facts import change_facts
from tests.helpers.analysed_sites import long_studio, shallow_studio
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.pages import NOW_MS, Studio, measured_studio

MINUTE_MS = 60_000
BATTERY = (
    *(Column("temperature", "Cel"), Column("current", "A"), Column("power", "W")),
    *(Column("voltage", "V"), Column("mode", "", "text")),
)


@pytest.fixture
def house(tmp_path: Path) -> tuple[Database, Site]:
    return studio(tmp_path)


def now(connection: Connection, site: Site, now_ms: int = NOON_MS) -> dict[str, Seen]:
    return {each.rule: each for each in seen_now(connection, site, now_ms=now_ms)}


def back(studio: Studio, now_ms: int, site: Site | None = None) -> dict[str, Seen]:
    with closing(studio.database.connect()) as connection:
        found = seen_back(studio.database, connection, site or studio.site, {}, now_ms=now_ms)
        return {each.rule: each for each in found}


def test_a_site_that_never_sent_anything_is_not_silent(house: tuple[Database, Site]) -> None:
    database, site = house
    with closing(database.connect()) as connection:
        assert now(connection, site) == {}
        assert list(seen_back(database, connection, site, {}, now_ms=NOON_MS)) == []


def test_the_newest_reading_tells_silence_heat_and_cold(house: tuple[Database, Site]) -> None:
    database, site = house
    row: dict[str, Value] = {"temperature": -3.0, "current": 20.0, "mode": "bulk"}
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS - 5 * MINUTE_MS: row}, BATTERY)
        write(connection, site, "pv", {NOON_MS - 10 * MINUTE_MS: {"power": 5.0}})
        seen = now(connection, site)
        assert seen["bridge-silent"].value == 5.0
        assert seen["hot-battery"].value == -3.0
        # Charging at 20 A and -3 °C where 0 °C is the least: 3 °C below.
        assert seen["cold-charging"].value == 3.0
        change_facts(connection, site, charge_low_c=5.0)
        assert now(connection, site_named(database, "studio"))["cold-charging"].value == 8.0


def test_without_charge_it_is_not_cold_and_without_readings_nothing_is_known(
    house: tuple[Database, Site],
) -> None:
    database, site = house
    with closing(database.connect()) as connection:
        power: dict[str, Value] = {"temperature": -3.0, "power": -500.0, "voltage": 50.0}
        write(connection, site, "battery", {NOON_MS: power}, BATTERY)
        assert now(connection, site)["cold-charging"].value == -99.0
        old = now(connection, site, NOON_MS + FRESH_MS + 1)
        assert old["hot-battery"].value is None
        assert old["cold-charging"].value is None


def test_corrections_count_and_what_they_exclude_is_missing(house: tuple[Database, Site]) -> None:
    database, site = house
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"temperature": 50.0}}, BATTERY)
        for kind, value, expected in (("offset", -10.0, 40.0), ("exclude", None, None)):
            correction = Correction(
                id=0,
                device="battery",
                quantity="temperature",
                kind=kind,  # type: ignore[arg-type]  # both are kinds
                value=value,
                from_ms=None,
                to_ms=None,
                note="",
                made_ms=NOON_MS,
                withdrawn_ms=None,
            )
            add_correction(connection, site, correction)
            assert now(connection, site)["hot-battery"].value == expected


def test_yesterday_s_gap_is_told_of_the_studio_of_round_numbers(tmp_path: Path) -> None:
    # Nothing was read from 06:00 to 12:00 on Tuesday 3 March: a quarter of the day.
    seen = back(measured_studio(tmp_path), NOW_MS)
    assert seen["gap"].value == pytest.approx(25.0, abs=0.5)
    assert seen["idle-jump"].value is None
    assert "cell-spread" not in seen
    assert "round-trip-drop" not in seen


def test_the_nights_of_six_weeks_tell_a_jump_of_the_inverter_s_own_draw(
    house: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    # Ten hours at 500 W each night; 40 W are lost for four weeks, 60 W in the last two. Of these
    # one night is missing, and one day is there without a night.
    database, site = house
    yesterday = date_of(NOON_MS, site.zone) - timedelta(days=1)
    days = [
        DayResult(
            date=yesterday - timedelta(days=ago),
            hours=24.0,
            coverage_ratio=1.0,
            readings=0,
            numbers={},
            night=None
            if ago == 2
            else NightSums(dc_wh=5600.0 if ago < 14 else 5400.0, ac_wh=5000.0, hours=10.0),
        )
        for ago in range(41, -1, -1)
        if ago != 4
    ]

    def asked(_: Database, __: Site, first: date, last: date) -> list[DayResult]:
        assert (last - first).days == 41
        assert last == yesterday
        return days

    monkeypatch.setattr(looking_back, "day_results_of", asked)
    with closing(database.connect()) as connection:
        write(connection, site, "pv", {NOON_MS - 3 * DAY_MS: {"power": 5.0}})
        found = seen_back(database, connection, site, {}, now_ms=NOON_MS)
        seen = {each.rule: each for each in found}
    assert seen["idle-jump"].value == pytest.approx(20.0)
    assert "takes 20 W more for itself" in seen["idle-jump"].sentence


def test_the_year_s_record_tells_capacity_forecast_and_full_charges(tmp_path: Path) -> None:
    studio = long_studio(tmp_path)
    now_ms = START_MS + 370 * DAY_MS
    seen = back(studio, now_ms)
    # 202 Ah at the most, of 200 rated, less a floor of 70 %: 31 points above.
    assert seen["capacity-low"].value == pytest.approx(31.0, abs=0.5)
    assert "70% of 200 Ah are promised" in seen["capacity-low"].sentence
    assert seen["forecast-low"].value == pytest.approx(100.0, abs=1.0)
    assert "99 of 100 futures" in seen["forecast-low"].sentence
    assert seen["never-full"].value == pytest.approx(0.5, abs=0.5)
    assert seen["round-trip-drop"].value == pytest.approx(0.0, abs=0.1)
    assert seen["backup"].value == pytest.approx(370.0, abs=1.0)
    assert seen["backup"].sentence == "no backup was made yet"
    note = BackupNote(at_ms=now_ms - 3 * DAY_MS, file="a", size_bytes=1)
    note_backup(studio.database.data_dir, note)
    assert back(studio, now_ms)["backup"].value == pytest.approx(3.0)
    with closing(studio.database.connect()) as connection:
        change_facts(connection, studio.site, warranty_years=None)
        fewer = site_named(studio.database, "studio")
        assert "forecast-low" not in back(studio, now_ms, fewer)
        change_facts(connection, fewer, warranty_floor_ratio=None)
        none = site_named(studio.database, "studio")
        assert "capacity-low" not in back(studio, now_ms, none)


def test_a_refused_capacity_is_not_known(tmp_path: Path) -> None:
    studio = shallow_studio(tmp_path)
    with closing(studio.database.connect()) as connection:
        facts = {"warranty_floor_ratio": 0.7, "warranty_years": 10.0}
        change_facts(connection, studio.site, **facts)  # type: ignore[arg-type]  # its facts
        site = site_named(studio.database, "studio")
    seen = back(studio, START_MS + 40 * DAY_MS, site)
    assert seen["capacity-low"].value is None
    assert seen["forecast-low"].value is not None or seen["forecast-low"].sentence == ""


def test_cells_lugs_and_legs_are_told_by_readings_of_a_day(house: tuple[Database, Site]) -> None:
    database, site = house
    rows: dict[int, dict[str, Value]] = {}
    load: dict[int, dict[str, Value]] = {}
    inverter: dict[int, dict[str, Value]] = {}
    for step in range(1440):
        at_ms = NOON_MS - step * MINUTE_MS
        amps = 2.0 if step < 700 else 40.0 + 20 * ((step // 30) % 2)
        rows[at_ms] = {
            "voltage": 53.0,
            "current": -amps,
            "cell_voltage_min": 3.290,
            "cell_voltage_max": 3.340,
        }
        inverter[at_ms] = {"dc_voltage": 53.0 - 0.004 * amps}  # 4 mΩ
        load[at_ms] = {"power_l1": 1000.0, "power_l2": 0.0}
    columns = tuple(
        Column(name, unit)
        for name, unit in (
            *(("voltage", "V"), ("current", "A")),
            *(("cell_voltage_min", "V"), ("cell_voltage_max", "V")),
        )
    )
    with closing(database.connect()) as connection:
        write(connection, site, "battery", rows, columns)
        write(connection, site, "inverter", inverter, [Column("dc_voltage", "V")])
        write(connection, site, "load", load)
        seen: dict[str, Seen] = {}
        for least, expected in ((None, None), (1.5, 2.5)):
            kept = {("lugs", "battery"): KeptWatch(watch=Watch(), least=least)}
            found = seen_back(database, connection, site, kept, now_ms=NOON_MS + 1)
            seen = {each.rule: each for each in found}
            rise = seen["lugs"].value
            assert rise is None if expected is None else rise == pytest.approx(expected, abs=0.3)
            assert seen["lugs"].level == pytest.approx(4.0, abs=0.3)
        assert seen["cell-spread"].value == pytest.approx(50.0)
        assert seen["legs"].value == 1.0
        assert seen["lugs"].subject == "battery"


def test_a_disk_that_cannot_be_asked_is_not_known(
    house: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = house

    def gone(_: Path) -> None:
        raise OSError

    with closing(database.connect()) as connection:
        write(connection, site, "pv", {NOON_MS: {"power": 5.0}})
        values: dict[str, float | None] = {}
        for ask, there in ((gone, False), (lambda _: _room(0), True), (lambda _: _room(10), True)):
            monkeypatch.setattr(looking_back, "room_of", ask)
            found = seen_back(database, connection, site, {}, now_ms=NOON_MS + 1)
            values = {each.rule: each.value for each in found}
            assert ("disk" in values) == there
        assert values["disk"] == 50.0


def _room(size: int) -> SimpleNamespace:
    return SimpleNamespace(free_bytes=size // 2, size_bytes=size)


def test_every_rule_is_looked_at_by_one_of_the_two() -> None:
    words = inspect.getsource(looking_back) + inspect.getsource(looking_now)
    assert [name for name in BY_NAME if f'"{name}"' not in words] == []
