"""Mutated input into what reads it, without sockets: each has one way to refuse."""

import io
import random
from pathlib import Path

from joulebook.errors import JoulebookError
from joulebook.ingest.decode import Decoder
from joulebook.ingest.mapping.file import parse_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.mqtt.limits import SessionLimits
from joulebook.ingest.mqtt.session import ServerSession
from joulebook.ingest.tables import import_csv_stream
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from tests.helpers.fuzz_corpus import CSV, MAPPED, RULES, TOPIC, packets, packs
from tests.helpers.mqtt_packets import connect
from tests.helpers.mutations import Mutator
from tests.helpers.packs import NOW_MS
from tests.helpers.tallies import Tally


def fuzz_codec(count: int, seed: int) -> Tally:
    """Let a session of either level read mutated packets, whole or cut, one to four in a row."""
    tally = Tally("codec and session")
    for level in (4, 5):
        mutator = Mutator(seed + level, packets(level))
        while tally.sent < count * (level - 3) // 2:
            stream = b"".join(mutator.one() for _ in range(mutator.rng.randint(1, 4)))
            begun = mutator.rng.random() < 0.8
            tally.sent += 1
            try:
                _read(mutator.rng, tally, stream, level=level, begun=begun)
            except Exception as error:  # noqa: BLE001 - whatever it is, it is a finding
                tally.caught(error, stream)
    return tally


def _read(rng: random.Random, tally: Tally, stream: bytes, *, level: int, begun: bool) -> None:
    session = ServerSession(SessionLimits(), new_client_id="x", now_s=0.0)
    published = []
    if begun:
        session.receive(connect(level), 0.0)
        session.admit(0.0)
    cut = rng.randrange(len(stream) + 1)
    for part in (stream[:cut], stream[cut:]):
        published += session.receive(part, 0.0)
        if session.login is not None:
            published += session.admit(0.0)
    session.settle(published, rng.choices(list(Verdict), k=len(published)))
    session.outgoing()
    refused = session.fault is not None
    tally.refused += refused
    tally.taken += not refused


def fuzz_packs(count: int, seed: int) -> Tally:
    """Let the decoder read mutated SenML packs, JSON and CBOR."""
    return _fuzz_decoder("SenML, JSON and CBOR", count, Mutator(seed, packs()), (TOPIC,))


def fuzz_mapped(count: int, seed: int) -> Tally:
    """Let the decoder read mutated payloads of other bridges."""
    return _fuzz_decoder(
        "mapped payloads",
        count,
        Mutator(seed, MAPPED),
        ("kiln/2/state", "clamp/a/b", "kiln//state"),
    )


def _fuzz_decoder(door: str, count: int, mutator: Mutator, topics: tuple[str, ...]) -> Tally:
    tally = Tally(door)
    decoder = Decoder({"garden": 1}.get, Mappings(parse_mappings(RULES, "rules.toml")))
    for _ in range(count):
        payload = mutator.one() if mutator.rng.random() < 0.5 else mutator.document()
        message = Message(mutator.rng.choice(topics), payload, NOW_MS, "shed", "garden", 1)
        tally.sent += 1
        try:
            decoded = decoder.decode(message)
        except Exception as error:  # noqa: BLE001 - as above
            tally.caught(error, payload)
            continue
        stored = decoded.verdict is Verdict.STORED
        tally.taken += stored
        tally.refused += not stored
        if not stored and not decoded.refused:
            tally.exceptions.append(f"refused without a reason: {payload[:400].hex()}")
    return tally


def fuzz_csv(count: int, seed: int, folder: Path) -> Tally:
    """Import mutated files into a database."""
    tally = Tally("CSV rows")
    mutator = Mutator(seed, CSV)
    database = Database.open(folder)
    site = add_site(database, "garden", "Europe/Lisbon")
    for _ in range(count):
        content = mutator.one()
        tally.sent += 1
        try:
            import_csv_stream(
                database, site, io.BytesIO(content), source="fuzz.csv", clock_ms=lambda: NOW_MS
            )
        except JoulebookError:
            tally.refused += 1
        except Exception as error:  # noqa: BLE001 - as above
            tally.caught(error, content)
        else:
            tally.taken += 1
    database.close()
    return tally
