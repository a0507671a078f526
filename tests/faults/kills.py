"""``kill -9`` in the middle of the work of each part, while readings come in on two ways."""

import random
import shutil
import statistics
import time
from contextlib import closing
from dataclasses import dataclass, field, replace
from pathlib import Path

from joulebook.storage.database import Database
from joulebook.storage.events import Event, add_event
from tests.faults.computed import all_computed, results, run
from tests.faults.told import Told, counted, summed
from tests.helpers.chains import Chain
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.numbered_plants import numbered_plant
from tests.helpers.numbered_publisher import START_MS, NumberedPublisher
from tests.helpers.told_processes import ToldProcess

#: What is killed in turn; and how long after its work begins, at most. [s]
AIMS = {
    "listener": 0.01,
    "writer": 0.005,
    "sealer": 0.03,
    "summariser": 0.03,
    "quarter hours": 0.02,
    "analyst": 1.5,
    "backup": 0.1,
    "bridge": 0.0,
}
#: Messages that are published in each round, one reading each, two minutes apart.
MESSAGES = 150
STEP_S = 120
#: Added to the plant's numbers, which are counted together with the publisher's.
BEHIND = 1_000_000_000


@dataclass(slots=True)
class Record:
    """What was seen of the kills of one part."""

    rounds: int = 0
    struck: int = 0
    published: list[int] = field(default_factory=list)
    served: list[int] = field(default_factory=list)  # by the plant to its bridge
    broken: int = 0  # acknowledged, and not on disk at the moment of the kill


class Killing:
    """A chain that is killed again and again, and what was seen of it.

    Attributes
    ----------
    starts_s : list of float
        How long each start after a kill took until the doors were open. [s]
    """

    def __init__(self, folder: Path, chain: Chain, chance: random.Random) -> None:
        self._folder = folder
        self._chain = chain
        self._chance = chance
        self._backups = 0
        self._serves = True
        self.starts_s: list[float] = []
        self.records = {part: Record() for part in AIMS}
        self.publisher = NumberedPublisher(
            chain.mqtt_port, chain.secret, device="pv", step_s=STEP_S
        )

    def strike(self, part: str) -> None:
        """Do one round: readings come in, the part begins its work, and is killed."""
        record = self.records[part]
        record.rounds += 1
        first = self.publisher.published
        if part in ("bridge", "backup"):
            self.serve()
            strike = self._strike_bridge if part == "bridge" else self._strike_backup
            strike(record)
        else:
            self._strike_service(part, record)
        record.published += range(first, self.publisher.published)

    def _strike_service(self, part: str, record: Record) -> None:
        chain = self._chain
        if part == "analyst":
            self._enter_something()
        if self._serves:
            chain.service.kill()
        chain.start_service(part)
        self.starts_s.append(chain.service.wait_until_open())
        self.publisher.publish(MESSAGES)
        many = self._chance.randrange(1, 12) if part in ("listener", "writer") else 1
        inside = self._kill_inside(chain.service, many, AIMS[part])
        # What a listener does for a message ends with its acknowledgement.
        on_the_way = self.publisher.acknowledged < self.publisher.published
        record.struck += on_the_way if part == "listener" else inside
        self._serves = False
        record.broken += self._acknowledged_but_missing()

    def serve(self) -> None:
        """Have the service run, whatever happened to it."""
        if not self._serves:
            self._chain.start_service()
            self._serves = True

    def _strike_bridge(self, record: Record) -> None:
        self.publisher.publish(MESSAGES)
        self.publisher.wait_for_more(self._chance.randrange(1, MESSAGES))
        self._chain.kill_bridge()
        record.struck += 1

    def _strike_backup(self, record: Record) -> None:
        self.publisher.publish(MESSAGES)
        self._backups += 1
        file = self._folder / f"backup-{self._backups}.sqlite3"
        backup = ToldProcess("backup", "backup", str(file), f"--data={self._chain.data}")
        record.struck += self._kill_inside(backup, 1, AIMS["backup"])

    def _kill_inside(self, process: ToldProcess, begins: int, longest_s: float) -> bool:
        """Kill a process a moment after its part has begun; return whether it was at work."""
        process.wait_for(begins)
        time.sleep(self._chance.uniform(0, longest_s))
        process.kill()
        return process.inside

    def _enter_something(self) -> None:
        """Give the analyst a reason to look at the whole record."""
        event = Event(id=0, at_ms=START_MS, kind="other", title="kiln", made_ms=START_MS)
        with closing(self._chain.database.connect()) as connection:
            add_event(connection, self._chain.site, event)

    def _acknowledged_but_missing(self) -> int:
        """Count what was acknowledged and is not on disk, in a copy: the next start finds all."""
        acknowledged = self.publisher.acknowledged_numbers()
        copy = self._folder / "copy"
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(self._chain.data, copy)
        stored = self._chain.numbers("pv", "power", Database(copy))
        return len(acknowledged - set(stored))

    def whole_backups(self) -> int:
        """Look at every backup that has its name; return how many those are."""
        files = sorted(self._folder.glob("backup-*.sqlite3"))
        for file in files:
            (self._folder / "restored").mkdir()
            file.rename(self._folder / "restored" / "joulebook.sqlite3")
            assert run("verify", f"--data={self._folder / 'restored'}") == 0
            shutil.rmtree(self._folder / "restored")
        return len(files)


def kill_rounds(folder: Path, rounds: int, seed: int) -> list[Told]:
    """Kill so often, each part in turn, and count."""
    chance = random.Random(seed)
    with numbered_plant(folder) as plant:
        chain = Chain(folder, plant, None)
        try:
            chain.service.wait_until_open()
            killing = Killing(folder, chain, chance)
            parts = list(AIMS)
            for turn in range(rounds):
                before = plant.served
                part = parts[turn % len(parts)]
                killing.strike(part)
                killing.records[part].served += range(before + 1, plant.served + 1)
            last = plant.served
            plant.wait_for_more(3)  # so that the bridge is at work again
            return _ended(chain, killing, last)
        finally:
            killing.publisher.stop()
            chain.close()


def _ended(chain: Chain, killing: Killing, last: int) -> list[Told]:
    """Let everything come to its end and count what is there."""
    killing.serve()
    killing.publisher.wait_for_all()
    read = [number for number in chain.end() if number <= last]
    published = chain.numbers("pv", "power")
    rows = [
        _row(part, record, chain, published, read)
        for part, record in killing.records.items()
        if record.rounds
    ]
    chain.start_service()
    wait_until(lambda: all_computed(chain.database), 120)
    assert chain.service.end() == 0
    before = results(chain.database)
    assert run("recompute", "--site=studio", f"--data={chain.data}") == 0
    after = results(chain.database)
    unlike = sum(before[key] != after.get(key) for key in before)
    damaged = run("verify", f"--data={chain.data}")
    starts = killing.starts_s
    note = (
        f"{len(before)} results and months, {unlike} unlike a clean computation; `verify` ended "
        f"with {damaged}; {killing.whole_backups()} backups got their name, all whole; a start "
        f"after a kill took {statistics.median(starts):.1f} s, at most {max(starts):.1f} s"
    )
    lost = unlike + (damaged != 0)
    return [*rows, summed("**all kills**", rows, lost=lost, note=note)]


def _row(part: str, record: Record, chain: Chain, published: list[int], read: list[int]) -> Told:
    """Count what one part's rounds brought in; the plant's numbers lie behind the publisher's."""
    ours = set(record.published)
    theirs = set(record.served) - chain.in_the_air
    note = f"acknowledged before a kill and missing after it: {record.broken}"
    if part == "bridge":
        in_the_air = set(record.served) & chain.in_the_air - set(read)
        note = f"read, and not in the spool yet when it was killed: {len(in_the_air)}"
    told = counted(
        f"kill -9, {part}",
        ours | {BEHIND + number for number in theirs},
        [number for number in published if number in ours]
        + [BEHIND + number for number in read if number in theirs],
        rounds=record.rounds,
        struck=record.struck,
        note=note,
    )
    return replace(told, lost=told.lost + record.broken)
