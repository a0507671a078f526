"""That the fuzzing command would notice: what crashes, what hangs, what loses."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from joulebook.ingest.decode import Decoder
from joulebook.ingest.message import Verdict
from joulebook.ingest.mqtt.session import ServerSession
from joulebook.ingest.outcomes import Decoded
from tests import fuzz_doors
from tests.helpers import fuzz_decoders, fuzz_service
from tests.helpers.fuzz_decoders import fuzz_codec, fuzz_csv, fuzz_packs
from tests.helpers.fuzz_service import Good, fuzz_payloads
from tests.helpers.seen_processes import SeenProcess
from tests.helpers.service import RunningService
from tests.helpers.tallies import Tally


def crash(*_: object, **__: object) -> None:
    raise ZeroDivisionError("a bug")


def test_a_crash_in_what_reads_is_a_finding(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(ServerSession, "receive", crash)
    monkeypatch.setattr(Decoder, "decode", crash)
    monkeypatch.setattr(fuzz_decoders, "import_csv_stream", crash)
    for tally in (fuzz_codec(4, 1), fuzz_packs(4, 1), fuzz_csv(4, 1, tmp_path)):
        assert len(tally.exceptions) == tally.sent == 4
        assert tally.exceptions[0].startswith("ZeroDivisionError('a bug') for ")


def test_a_refusal_without_a_reason_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    nothing = Decoded([], [], Verdict.QUARANTINED)
    monkeypatch.setattr(Decoder, "decode", lambda *_: nothing)
    assert fuzz_packs(1, 1).exceptions[0].startswith("refused without a reason")


@contextmanager
def server_that(serves: Callable[[socket.socket], None]) -> Iterator[int]:
    """Serve one client as the caller likes, until the end of the block."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        done = threading.Event()

        def serve() -> None:
            client, _ = listening.accept()
            with client:
                serves(client)
                done.wait(30)

        thread = threading.Thread(target=serve)
        thread.start()
        yield int(listening.getsockname()[1])
        done.set()
        thread.join()


def nothing_more(_client: socket.socket) -> None:
    """Say nothing, and do not close either."""


def test_a_connection_that_does_not_end_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fuzz_service, "STUCK_S", 0.1)
    tally = Tally("a door")
    with server_that(nothing_more) as port:
        fuzz_service._say(tally, port, b"\x10\x00")
    assert (tally.stuck, tally.clean) == (1, False)
    waiting = Tally("a door")
    with server_that(nothing_more) as port:  # half a request may be waited for
        fuzz_service._say(waiting, port, b"POST /", http=True)
    assert (waiting.refused, waiting.clean) == (1, True)


def test_an_answer_that_does_not_come_is_a_finding(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fuzz_service, "STUCK_S", 0.1)
    monkeypatch.setattr(Good, "send", lambda _self: None)
    with server_that(nothing_more) as port:
        tally = fuzz_payloads(100, 1, port, "secret", Good(port, "secret"))
    assert (tally.sent, tally.taken, tally.stuck) == (100, 0, 1)


def test_a_mistake_of_the_service_is_a_finding() -> None:
    tally = Tally("a door")

    def fail(client: socket.socket) -> None:
        client.recv(100)
        client.sendall(b"HTTP/1.1 500 Internal Server Error\r\n\r\n")
        client.shutdown(socket.SHUT_WR)

    with server_that(fail) as port:
        fuzz_service._say(tally, port, b"GET /", http=True)
    assert tally.exceptions == ["500 for 474554202f"]


def test_a_door_that_is_shut_has_refused() -> None:
    tally = Tally("a door")
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        thread = threading.Thread(target=lambda: listening.accept()[0].close())
        thread.start()
        fuzz_service._say(tally, port, bytes(50_000_000))
        thread.join()
    assert (tally.refused, tally.clean) == (1, True)


def test_what_is_not_so_of_a_service(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = tmp_path / "log"
    log.write_text("Traceback (most recent call last):\n")
    before, after = (SeenProcess(100.0, files, 9) for files in (10, 30))
    found = list(fuzz_doors._faults(before, after, {'reason="bug"': 1.0}, log))
    assert len(found) == 3
    log.write_text("all is well\n")
    assert list(fuzz_doors._faults(before, before, {}, log)) == []

    # A reading more than was sent, and an end that is none.
    monkeypatch.setattr(Good, "stored", lambda *_: [0.0, 0.0])
    monkeypatch.setattr(RunningService, "end", ended_badly)
    _, faults = fuzz_doors.fuzz_the_service(20, 1, tmp_path)
    assert faults == ["the service did not end well", "good readings are not stored exactly once"]


def ended_badly(service: RunningService) -> int:
    service.kill()
    return -9
