"""A thousand bridges that connect at once, over real sockets."""

import asyncio
import resource
import time
from pathlib import Path

from joulebook.storage.tokens import add_token
from tests.faults.house import House, house_in
from tests.faults.told import Told, counted
from tests.helpers.mqtt_packets import DISCONNECT, connect, publish

#: Each bridge delivers so many readings, a minute apart.
EACH = 3
OF_A_TOKEN = 50
START_S = 1_780_000_000
SETTINGS = "mqtt_connections = {0}\nmqtt_connections_per_address = {0}\n"


class Crowd:
    """Bridges that connect, publish, wait for their answers and leave; a refusal is tried again."""

    def __init__(self, house: House, bridges: int) -> None:
        self._house = house
        self._bridges = bridges
        # A token is good for a hundred connections.
        self._tokens = [
            (f"row-{row}", add_token(house.database, house.site, f"row-{row}"))
            for row in range(1 + bridges // OF_A_TOKEN)
        ]
        self._met = asyncio.Event()
        self._there = 0
        self.most = 0
        self.tries = 0

    async def come(self) -> None:
        """Let all of them come at once."""
        await asyncio.gather(*(self._bridge(number) for number in range(self._bridges)))

    async def _bridge(self, number: int) -> None:
        end_s = time.monotonic() + 240
        while time.monotonic() < end_s:
            self.tries += 1
            try:
                async with asyncio.timeout(60):
                    await self._deliver(number)
            except (OSError, EOFError, TimeoutError):
                await asyncio.sleep(1 + number % 7 / 7)
            else:
                return
        raise AssertionError(f"bridge {number} was never let in")

    async def _deliver(self, number: int) -> None:
        reader, writer = await asyncio.open_connection("127.0.0.1", self._house.mqtt_port)
        try:
            name, secret = self._tokens[number // OF_A_TOKEN]
            writer.write(connect(client_id=f"bridge-{number}", name=name, secret=secret))
            if (await reader.readexactly(4))[3]:
                raise EOFError  # it is told why, and comes again
            self._there += 1
            try:
                await self._wait_for_the_others()
                for place in range(EACH):
                    writer.write(_reading(number * EACH + place, 1 + place))
                await reader.readexactly(4 * EACH)
            finally:
                self._there -= 1
            writer.write(DISCONNECT)
        finally:
            writer.close()

    async def _wait_for_the_others(self) -> None:
        """Stay connected until all are, or as many as there is room for."""
        self.most = max(self.most, self._there)
        if self._there == self._bridges:
            self._met.set()
        try:
            await asyncio.wait_for(self._met.wait(), 10)
        except TimeoutError:
            self._met.set()


def _reading(number: int, packet_id: int) -> bytes:
    pack = f'[{{"n":"power","u":"W","v":{number},"t":{START_S + number * 60}}}]'.encode()
    return publish("joulebook/v1/studio/battery", pack, packet_id=packet_id)


def crowd(folder: Path, bridges: int, *, most: int = 0) -> Told:
    """Let so many bridges come at once, to a service that lets in as many, or fewer."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, max(soft, bridges + 500)), hard))
    room = most or bridges
    with house_in(folder, settings=SETTINGS.format(room)) as house:
        together = Crowd(house, bridges)
        began_s = time.monotonic()
        asyncio.run(together.come())
        took_s = time.monotonic() - began_s
        assert house.end() == 0
        return counted(
            f"{bridges:,} bridges connect at once, room for {room:,}",
            range(bridges * EACH),
            house.numbers(),
            acknowledged=bridges * EACH,
            note=f"{together.most:,} were connected together; {together.tries:,} connections; "
            f"{took_s:.0f} s",
        )
