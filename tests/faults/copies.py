"""``kill -9`` of copies that take readings in, and of the database server behind them."""

import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.faults.told import Told, counted
from tests.helpers.copies import Copies, fsyncing_server, running_copies
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.numbered_publisher import NumberedPublisher
from tests.helpers.postgres import PostgresServer
from tests.helpers.told_processes import ToldProcess

#: Messages of each publisher in a round, one reading each.
MESSAGES = 200
#: How long after a writer began its work it is killed, at most: a commit takes about as long. [s]
LATEST_S = 0.03
#: What a copy leaves behind at a broker has an heir after some 12 s. [s]
PATIENCE_S = 120
#: A publisher for each; with numbers of its own where they are counted together.
DEVICES = ("battery", "pv")
_APART = 1_000_000_000


class Killing:
    """Two copies that are killed while readings come in, and how often in the midst of a commit.

    Parameters
    ----------
    doors : two of ``broker`` and ``balancer``
        Through which the two publishers publish.
    """

    def __init__(self, copies: Copies, doors: tuple[str, str], chance: random.Random) -> None:
        self._copies = copies
        self._doors = doors
        self._chance = chance
        self._rounds = self._struck = 0
        self._publishers = [
            NumberedPublisher(copies.doors[door], copies.secret, client_id=device, device=device)
            for device, door in zip(DEVICES, doors, strict=True)
        ]

    def kill_copy(self) -> None:
        """Let readings come in, kill a copy at its work, and start it again."""
        number = self._chance.choice(self._at_work())
        process = self._copies.running[number]
        self._publish_until_it_writes(process)
        process.kill()
        self._struck += process.inside
        self._copies.start(number, "writer")

    def kill_server(self) -> None:
        """Let readings come in, kill the database server while a copy writes, and start it."""
        number = self._chance.choice(self._at_work())
        self._publish_until_it_writes(self._copies.running[number])
        self._struck += any(process.inside for process in self._copies.running)
        self._copies.server.kill()
        self._copies.server.start()
        self._publish()
        wait_until(self._all_stored, PATIENCE_S)

    def told(self, fault: str) -> Told:
        """Wait until everything is in, and count."""
        wait_until(self._all_stored, PATIENCE_S)
        sent = (each.published for each in self._publishers)
        stored = map(self._copies.numbers, DEVICES)
        return counted(
            fault,
            [_APART * place + number for place, many in enumerate(sent) for number in range(many)],
            [_APART * place + number for place, there in enumerate(stored) for number in there],
            rounds=self._rounds,
            struck=self._struck,
            acknowledged=sum(len(each.acknowledged_numbers()) for each in self._publishers),
        )

    def stop(self) -> None:
        """Publish no more."""
        for each in self._publishers:
            each.stop()

    def _at_work(self) -> list[int]:
        """Return the copies to which readings come: of listeners, those that have a bridge."""
        name = "broker_connected" if "broker" in self._doors else "mqtt_connections"
        found: list[int] = []

        def look() -> bool:
            copies = range(len(self._copies.running))
            found[:] = [one for one in copies if self._copies.number_of(one, f"joulebook_{name}")]
            return bool(found)

        wait_until(look, PATIENCE_S)
        return found

    def _publish_until_it_writes(self, process: ToldProcess) -> None:
        self._rounds += 1
        begins = process.begins + self._chance.randrange(1, 3)
        self._publish()
        process.wait_for(begins, 2)
        time.sleep(self._chance.uniform(0, LATEST_S))

    def _publish(self) -> None:
        for each in self._publishers:
            each.publish(MESSAGES)

    def _all_stored(self) -> bool:
        return all(
            len(self._copies.numbers(device)) >= each.published
            for device, each in zip(DEVICES, self._publishers, strict=True)
        )


@contextmanager
def killing(
    folder: Path, server: PostgresServer, doors: tuple[str, str], seed: int
) -> Iterator[Killing]:
    """Run copies, and a publisher through each of two doors, until the block ends."""
    with running_copies(folder, server, part="writer") as copies:
        made = Killing(copies, doors, random.Random(seed))
        try:
            yield made
        finally:
            made.stop()


def killed_copies(folder: Path, rounds: int, seed: int) -> list[Told]:
    """Kill copies behind a broker, behind a balancer, and the server behind both: each so often."""
    told = []
    with fsyncing_server() as server:
        for door in ("broker", "balancer"):
            with killing(folder / door, server, (door, door), seed) as killed:
                for _ in range(rounds):
                    killed.kill_copy()
                told.append(killed.told(f"ingest copy killed behind a {door}"))
        with killing(folder / "both", server, ("broker", "balancer"), seed) as killed:
            for _ in range(rounds):
                killed.kill_server()
            told.append(killed.told("database server killed -9 and started again"))
    return told
