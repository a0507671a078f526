"""A Modbus server that answers with anything: each reading ends in time, with one kind of fault."""

import random
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager

import pytest

from joulebook_bridge.modbus.addresses import NetworkLine
from joulebook_bridge.modbus.faults import LineFault
from joulebook_bridge.modbus.lines import Line
from tests.helpers.mutations import Mutator

#: Says what to send for a request.
Answers = Callable[[bytes], bytes]
_TIMEOUT_S = 0.03


def right(request: bytes) -> bytes:
    """Return the answer that is expected: each register holds its address (V1.1b3 §6.3, §6.4)."""
    address, count = int.from_bytes(request[8:10]), int.from_bytes(request[10:12])
    registers = b"".join((address + place).to_bytes(2) for place in range(count))
    pdu = bytes((request[7], len(registers))) + registers
    return request[:4] + (len(pdu) + 1).to_bytes(2) + request[6:7] + pdu


EXAMPLES = [
    right(bytes.fromhex("0001 0000 0006 01 03 0000 000A")),
    right(bytes.fromhex("0001 0000 0006 01 04 0010 0001")),
    bytes.fromhex("0001 0000 0003 01 83 02"),  # an exception
    bytes.fromhex("0001 0000 0003 01 83 0B"),
]


@contextmanager
def server_that(answers: Answers) -> Iterator[int]:
    """Serve whatever is to be answered, to one client after the other."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        stopping = threading.Event()

        def serve() -> None:
            while not stopping.is_set():
                client, _ = listening.accept()
                with client:
                    try:
                        while request := client.recv(260):
                            client.sendall(answers(request))
                    except OSError:
                        continue  # the client had enough

        thread = threading.Thread(target=serve)
        thread.start()
        try:
            yield int(listening.getsockname()[1])
        finally:
            stopping.set()
            socket.create_connection(listening.getsockname()).close()
            thread.join()


@pytest.mark.parametrize("rtu", [False, True])
def test_mutated_frames(*, rtu: bool) -> None:
    mutator = Mutator(1 + rtu, EXAMPLES)
    friendly = threading.Event()

    def answer(request: bytes) -> bytes:
        if friendly.is_set():
            return right(request)
        frames = b"".join(mutator.one() for _ in range(mutator.rng.randint(1, 3)))
        # The number of its question comes back most often, or no answer would be looked into.
        return request[:2] + frames[2:] if mutator.rng.random() < 0.8 else frames

    ends = {"registers": 0, "fault": 0}
    chance = random.Random(7)
    with server_that(answer) as port:
        address = NetworkLine("127.0.0.1", port, rtu=rtu)
        with closing(Line(address, timeout_s=_TIMEOUT_S)) as line:
            for _ in range(120):
                count = chance.randint(1, 10)
                try:
                    found = line.read(1, chance.choice((3, 4)), chance.randrange(100), count)
                except LineFault:
                    ends["fault"] += 1
                else:
                    ends["registers"] += 1
                    assert len(found) == count
                    assert all(0 <= each <= 0xFFFF for each in found)
            friendly.set()
            if not rtu:
                assert line.read(1, 3, 5, 3) == (5, 6, 7)
    assert sum(ends.values()) == 120
    assert ends["fault"] > 50


def test_an_answer_without_end_is_not_listened_to() -> None:
    sent = 0

    def answer(_request: bytes) -> bytes:
        nonlocal sent
        sent += 1
        return b"\x00\x01\x00\x00\xff\xff" + bytes(4_000_000)

    with (
        server_that(answer) as port,
        closing(Line(NetworkLine("127.0.0.1", port), timeout_s=_TIMEOUT_S)) as line,
    ):
        for _ in range(3):
            with pytest.raises(LineFault):
                line.read(1, 3, 0, 2)
    assert sent == 3  # each time over a new connection
