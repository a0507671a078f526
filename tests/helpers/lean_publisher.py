"""A publisher that costs little: packets made beforehand, sent in pieces, answers only counted.

``python -m tests.helpers.lean_publisher PORT FIRST_HOME HOMES FIRST_STEP STEPS`` publishes, of each
step of ten seconds, a message of 20 readings of each home, with QoS 1. It prints when it began,
when all was acknowledged, and the processor time that the sending took.
"""

import json
import socket
import sys
import time

from tests.helpers.mqtt_packets import connect, publish

READINGS = 20
START_S = 1_780_000_000
#: So many messages may be without an answer, and so many are sent at once.
WINDOW, PIECE = 1000, 100
# Length of a CONNACK and of a PUBACK (MQTT 3.1.1 §3.2, §3.4).
_ANSWER = 4


def pieces(first_home: int, homes: int, first_step: int, steps: int) -> list[bytes]:
    """Return the packets of all messages, many in a piece."""
    names = [f"q{place}" for place in range(READINGS)]
    made: list[bytes] = []
    for step in range(first_step, first_step + steps):
        values = ",".join(f'{{"n":"{name}","u":"W","v":{step % 977}.5}}' for name in names)
        pack = f'[{{"bt":{START_S + 10 * step},{values[1:]}]'.encode()
        for home in range(first_home, first_home + homes):
            number = 1 + len(made) % 60_000
            made.append(publish(f"joulebook/v1/home-{home}/meter", pack, packet_id=number))
    return [b"".join(made[at : at + PIECE]) for at in range(0, len(made), PIECE)]


def send(port: int, ready: list[bytes], messages: int, client_id: str) -> tuple[float, float]:
    """Send all; return when it began and when all was acknowledged. [s, epoch]"""
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(connect(client_id=client_id))
        connection.recv(_ANSWER)
        began_s = time.time()
        sent = answered = 0
        for piece in ready:
            while sent - answered // _ANSWER > WINDOW:
                answered += len(connection.recv(65_536))
            connection.sendall(piece)
            sent += PIECE
        while answered < messages * _ANSWER:
            answered += len(connection.recv(65_536))
    return began_s, time.time()


def main(port: int, first_home: int, homes: int, first_step: int, steps: int) -> None:
    """Publish, and print what it took."""
    ready = pieces(first_home, homes, first_step, steps)
    made_s = time.process_time()
    began_s, ended_s = send(port, ready, homes * steps, f"lean-{first_home}")
    print(json.dumps([began_s, ended_s, time.process_time() - made_s]))  # noqa: T201


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
