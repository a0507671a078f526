"""One message to the service, and its acknowledgement."""

import time

from joulebook_bridge.errors import WrongError
from joulebook_bridge.session import Credentials, Server, Session

_PREFIX = "joulebook/v1"


def topic_of(site: str, device: str) -> str:
    """Return the topic of a device's readings.

    Raises
    ------
    WrongError
        If a name would change the topic's shape; the service judges the rest.
    """
    for word, name in (("site", site), ("device", device)):
        if not name or set(name) & set("/+#\0"):
            raise WrongError(
                f"{name!r} cannot name a {word}",
                where="the topic of the message",
                expected="lower-case letters, digits and '-', as battery-2",
                next_step=f"check the {word}",
            )
    return f"{_PREFIX}/{site}/{device}"


def deliver(
    server: Server, credentials: Credentials, topic: str, payload: bytes, *, timeout_s: float
) -> float:
    """Publish one message, wait until the service has it, and return how long that took. [s]

    Raises
    ------
    WrongError
        If the service takes neither this sender nor this topic.
    AwayError
        If it cannot be reached, or does not answer in time.
    """
    began_s = time.monotonic()
    session = Session(server, credentials, timeout_s=timeout_s)
    session.connect()
    try:
        session.publish(topic, payload)
        answers = session.answers(timeout_s)
        while not answers:
            left_s = timeout_s - (time.monotonic() - began_s)
            if left_s <= 0:
                raise session.silent("the message")
            answers = session.answers(left_s)
    finally:
        session.close()
    [(_, reason)] = answers
    if reason.is_failure:
        raise session.message_refused(reason, topic)
    return time.monotonic() - began_s
