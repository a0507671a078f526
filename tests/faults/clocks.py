"""A clock that is set while readings come in: days ahead and back, and behind what bridges say."""

from contextlib import closing
from pathlib import Path

from joulebook.storage.database import Database
from tests.faults.computed import all_computed
from tests.faults.house import house_in, not_whole, now_ms
from tests.faults.told import Told, counted
from tests.helpers.bent_worlds import BentWorld
from tests.helpers.mqtt_inbox import wait_until

DAY_MS = 86_400_000
MESSAGES = 300


def ahead_and_back(folder: Path) -> Told:
    """Set the service's clock four days ahead, so that today is sealed, and back again."""
    world = BentWorld(folder)
    with house_in(folder / "data", environment=world.environment) as house:
        publisher = house.publisher(start_ms=now_ms() - 3_600_000)
        publisher.publish(MESSAGES)
        publisher.wait_for_all()
        world.set_clock(4 * DAY_MS)
        publisher.publish(MESSAGES)
        publisher.wait_for_all()
        house.service.kill()
        house.start()  # it seals what is old by its clock
        wait_until(lambda: _sealed(house.data) > 0, 60)
        world.set_clock(0)
        publisher.publish(MESSAGES)
        publisher.wait_for_all()
        house.service.kill()
        house.start()
        wait_until(lambda: all_computed(house.database), 60)
        assert house.end() == 0
        wrong = not_whole(house)
        return counted(
            "clock set four days ahead, and back",
            range(publisher.published),
            house.numbers(),
            acknowledged=publisher.acknowledged,
            note=f"today was sealed early, late readings joined it; {wrong or 'days are whole'}",
        )


def _sealed(data: Path) -> int:
    with closing(Database(data).connect()) as connection:
        return int(connection.execute("SELECT count(*) FROM blocks").fetchone()[0])


def behind(folder: Path) -> Told:
    """Set the service's clock an hour back: readings then seem to come from the time to come."""
    world = BentWorld(folder)
    with house_in(folder / "data", environment=world.environment) as house:
        publisher = house.publisher(start_ms=now_ms() - MESSAGES * 1000)
        publisher.publish(MESSAGES)
        publisher.wait_for_all()
        world.set_clock(-3_600_000)
        ahead = house.publisher(device="pv", start_ms=now_ms() - MESSAGES * 1000)
        ahead.publish(MESSAGES)
        ahead.wait_for_all()
        world.set_clock(0)
        assert house.end() == 0
        aside = len(house.set_aside())
        stored = house.numbers() + [MESSAGES + number for number in range(aside)]
        return counted(
            "clock set an hour back",
            range(2 * MESSAGES),
            stored,
            acknowledged=publisher.acknowledged + ahead.acknowledged,
            note=f"{aside} of them set aside whole as ahead of the clock",
        )
