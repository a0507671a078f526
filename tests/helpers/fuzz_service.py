"""Mutated packets and requests at a running service, with good readings between them."""

import base64
import json
import socket
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from urllib.request import urlopen

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from tests.helpers.fuzz_corpus import CSV, packets, packs
from tests.helpers.mqtt_packets import connect, publish
from tests.helpers.mutations import Mutator
from tests.helpers.tallies import Tally

#: Good readings are a second apart, from here on. [s, UTC epoch]
START_S = 1_780_000_000
#: A connection that is not closed so long after its client has said all is stuck. [s]
STUCK_S = 20.0


@dataclass(slots=True)
class Good:
    """A bridge that keeps sending good readings, each another value at another time.

    Attributes
    ----------
    sent : list of float
        The values that were acknowledged, in order.
    """

    port: int
    secret: str
    sent: list[float] = field(default_factory=list)

    def send(self) -> None:
        """Publish one reading on a connection of its own, and wait until it is on disk."""
        value = float(len(self.sent))
        pack = [{"n": "voltage", "u": "V", "v": value, "t": START_S + len(self.sent)}]
        with socket.create_connection(("127.0.0.1", self.port), STUCK_S) as client:
            client.sendall(
                connect(client_id="good", name="good", secret=self.secret)
                + publish("joulebook/v1/studio/battery", json.dumps(pack).encode())
            )
            answer = b""
            while len(answer) < 8:
                answer += client.recv(8 - len(answer))
        assert answer == bytes.fromhex("2002000040020001"), answer.hex()
        self.sent.append(value)

    def stored(self, data_dir: Path) -> list[float]:
        """Return what is on disk of it, in order of time."""
        database = Database.open(data_dir)
        with closing(database.connect()) as connection:
            found = read_device(connection, 1, "battery", Span(0, 2 * START_S * 1000))
        database.close()
        return [float(each) for each in found.values["voltage"]]


def prepare(data_dir: Path) -> tuple[str, str]:
    """Make the studio and a garden; return the secrets of a bridge of each."""
    database = Database.open(data_dir)
    secrets = tuple(
        add_token(database, add_site(database, site, "Europe/Lisbon"), name)
        for site, name in (("studio", "good"), ("garden", "fuzz"))
    )
    database.close()
    return secrets[0], secrets[1]


def fuzz_listener(count: int, seed: int, port: int, secret: str, good: Good) -> Tally:
    """Send mutated packets on connection after connection; one in eight is no client's at all."""
    tally = Tally("MQTT listener, over sockets")
    mutators = [Mutator(seed + level, packets(level)) for level in (4, 5)]
    while tally.sent < count:
        mutator = mutators[tally.sent % 2]
        burst = mutator.rng.randint(1, 12)
        stream = b"".join(mutator.one() for _ in range(burst))
        if mutator.rng.randrange(8):
            level = 4 + tally.sent % 2
            stream = connect(level, client_id="fuzz", name="fuzz", secret=secret) + stream
        tally.sent += burst
        _say(tally, port, stream)
        if mutator.rng.random() < 0.1:
            good.send()
    return tally


def fuzz_payloads(count: int, seed: int, port: int, secret: str, good: Good) -> Tally:
    """Send whole packets with mutated payloads: each has to be acknowledged."""
    tally = Tally("MQTT payloads, over sockets")
    mutator = Mutator(seed, packs())
    while tally.sent < count:
        stream, topic = bytearray(), "joulebook/v1/garden/battery"
        for number in range(1, 101):
            payload = mutator.document() if mutator.rng.random() < 0.5 else mutator.one()
            stream += publish(topic, payload, packet_id=number)
        tally.sent += 100
        with socket.create_connection(("127.0.0.1", port), STUCK_S) as client:
            client.sendall(connect(client_id="fuzz", name="fuzz", secret=secret) + bytes(stream))
            answer = b""
            try:
                while len(answer) < 4 + 4 * 100 and (part := client.recv(4096)):
                    answer += part
            except TimeoutError:
                tally.stuck += 1
        tally.taken += max(0, len(answer) - 4) // 4
        good.send()
    return tally


def fuzz_requests(count: int, seed: int, port: int, secret: str) -> Tally:
    """Send mutated requests to the door for readings, and mutated content in good ones."""
    tally = Tally("HTTP door, over sockets")
    coded = base64.b64encode(f"fuzz:{secret}".encode()).decode()
    bodies = [("application/senml+json", each) for each in packs()]
    bodies += [("text/csv", each) for each in CSV]
    contents = Mutator(seed, [body for _, body in bodies])
    whole = Mutator(seed, [request(coded, kind, body) for kind, body in bodies])
    for number in range(count):
        tally.sent += 1
        if number % 2:
            kind = contents.rng.choice(("application/senml+json", "text/csv", "text/plain"))
            _say(tally, port, request(coded, kind, contents.one()), http=True)
        else:
            _say(tally, port, whole.one(), http=True)
    return tally


def request(credentials: str, kind: str, body: bytes) -> bytes:
    """Return a request that delivers content, and closes its connection then."""
    head = (
        "POST /api/v1/sites/garden/readings?device=battery HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        f"Authorization: Basic {credentials}\r\nContent-Type: {kind}\r\n"
        f"Content-Length: {len(body)}\r\nConnection: close\r\n\r\n"
    )
    return head.encode() + body


def _say(tally: Tally, port: int, stream: bytes, *, http: bool = False) -> None:
    """Say all, and read to the end of the connection; a good request is answered before."""
    answer = b""
    with socket.create_connection(("127.0.0.1", port), STUCK_S) as client:
        try:
            client.sendall(stream)
            if http:
                client.settimeout(0.3)
                answer = client.recv(65536)
                client.settimeout(STUCK_S)
            client.shutdown(socket.SHUT_WR)
            while part := client.recv(65536):
                answer += part
        except TimeoutError:
            if http and client.gettimeout() == 0.3:  # it waits for more than it was sent
                tally.refused += 1
            else:
                tally.stuck += 1
            return
        except OSError:  # closed while we were still talking
            tally.refused += 1
            return
    if http and answer[9:12] == b"500":
        tally.exceptions.append(f"500 for {stream[:400].hex()}")
    tally.taken += answer[9:12] == b"200" if http else answer[:4] == b"\x20\x02\x00\x00"
    tally.refused += answer[9:12] != b"200" if http else answer[:4] != b"\x20\x02\x00\x00"


def metric(port: int, name: str) -> dict[str, float]:
    """Return the samples of a metric, by what stands in their braces."""
    with urlopen(f"http://127.0.0.1:{port}/metrics", timeout=STUCK_S) as answered:
        lines = answered.read().decode().splitlines()
    found = [line.rpartition(" ") for line in lines if line.startswith((f"{name} ", f"{name}{{"))]
    return {label.removeprefix(name).strip("{}"): float(value) for label, _, value in found}
