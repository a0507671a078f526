"""Messages as a bridge sends them, into committed storage: the inbox beside plain SQLite rows."""

import json
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from pathlib import Path

from joulebook.bench.questions import WrongAnswerError
from joulebook.bench.rounds import by_turns
from joulebook.bench.site import SITE, TIMEZONE, Piece
from joulebook.bench.sqlite_rows import SqliteRows
from joulebook.core.quantities import QUANTITIES
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.message import Message
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database

#: A device and its SenML pack (RFC 8428).
Payload = tuple[str, bytes]
_SENML_VERSION = 26  # RFC 9100: with the secondary units of RFC 8798
#: Messages that a door hands over at once.
_AT_ONCE = 500
#: Messages that come first and are not timed: with them files and series are made.
FIRST = 40


def payloads(piece: Piece) -> list[Payload]:
    """Return a message for each device and instant, in the order of time."""
    return [(device, payload) for _, device, payload in timed_payloads(piece)]


def timed_payloads(piece: Piece) -> list[tuple[int, str, bytes]]:
    """Return the same, each with its instant before it. [ms, UTC epoch]"""
    timed: list[tuple[int, str, bytes]] = []
    for columns in piece:
        names = list(columns.values)
        rows = zip(*(values.tolist() for values in columns.values.values()), strict=True)
        for at_ms, row in zip(columns.at_ms.tolist(), rows, strict=True):
            timed.append((at_ms, columns.device, _pack(columns.device, at_ms, names, row)))
    timed.sort(key=lambda each: each[0])
    return timed


def _pack(device: str, at_ms: int, names: Sequence[str], row: Sequence[float]) -> bytes:
    known = QUANTITIES[device]
    records: list[dict[str, object]] = [
        {"n": name, "u": known[name].unit, "v": value}
        for name, value in zip(names, row, strict=True)
    ]
    records[0] = {"bver": _SENML_VERSION, "bt": at_ms / 1000, **records[0]}
    return json.dumps(records, separators=(",", ":")).encode()


def ingest(
    folder: Path, sent: Sequence[Payload], readings: int, now_ms: int, rounds: int
) -> dict[str, list[float]]:
    """Return how long each took until all but the first messages were on disk, by turns. [s]

    Each round writes into new files, which hold the first messages. What they hold at the end is
    counted.

    Parameters
    ----------
    readings : int
        How many the messages hold.

    Raises
    ------
    WrongAnswerError
        If somebody holds more or fewer readings than were sent.
    """
    ours = [_prepared(folder / f"inbox-{number}", sent, now_ms) for number in range(rounds)]
    rest = slice(FIRST, None)
    with ExitStack() as files:
        rows = [
            files.enter_context(closing(SqliteRows(folder / f"rows-{number}")))
            for number in range(rounds)
        ]
        for (send, _), each in zip(ours, rows, strict=True):
            send(slice(FIRST))
            each.take(sent[:FIRST])
        took_s = by_turns(
            {
                "joulebook": lambda number: ours[number][0](rest),
                "SQLite rows": lambda number: rows[number].take(sent[rest]),
            },
            rounds,
        )
        for (_, stored), each in zip(ours, rows, strict=True):
            _require(readings, "joulebook", stored())
            _require(readings, each.name, each.count())
    return took_s


def _prepared(
    folder: Path, sent: Sequence[Payload], now_ms: int
) -> tuple[Callable[[slice], None], Callable[[], int]]:
    """Return what sends some and waits for the last verdict, and what counts and closes."""
    database = Database.open(folder)
    site = add_site(database, SITE, TIMEZONE)
    inbox = Inbox(database, clock_ms=lambda: now_ms, room=len(sent) + 1)
    inbox.start()
    messages = [
        Message(f"joulebook/v1/{SITE}/{device}", payload, now_ms, "bench", SITE, site.id)
        for device, payload in sent
    ]

    def send(which: slice) -> None:
        settled = threading.Event()
        *before, last = _groups(messages[which])
        for group in before:
            inbox.put(group, lambda _: None)
        inbox.put(last, lambda _: settled.set())
        settled.wait()

    def stored() -> int:
        inbox.stop()
        database.close()
        return inbox.counts().new

    return send, stored


def _groups(messages: Sequence[Message]) -> Iterator[Sequence[Message]]:
    for first in range(0, len(messages), _AT_ONCE):
        yield messages[first : first + _AT_ONCE]


def _require(readings: int, name: str, stored: int) -> None:
    if stored != readings:
        raise WrongAnswerError(
            f"{name} stored {stored} readings of {readings}",
            where="ingest",
            expected="every reading that was sent, once",
        )
