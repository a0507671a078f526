"""Sends what is due, each once, in a process of its own that ends afterwards."""

import json
import logging
import subprocess
import sys
from collections.abc import Callable, Sequence

from joulebook.storage.database import Connection
from joulebook.storage.deliveries import (
    Delivery,
    begin_sending,
    due_deliveries,
    note_refused,
    note_sent,
)

_log = logging.getLogger(__name__)

#: So many are sent by one process, which may take so long for all of them. [s]
AT_ONCE = 10
PATIENCE_S = 120.0

#: Sends messages and returns what went wrong with each, ``None`` where nothing did.
Send = Callable[[Sequence[Delivery]], Sequence[str | None]]


def send_due(connection: Connection, send: Send, *, now_ms: int) -> int:
    """Send what is due now; return how many were taken.

    Each is noted as under way first: ended in between, it is never sent twice.
    """
    taken = 0
    due = [
        each
        for each in due_deliveries(connection, now_ms=now_ms, most=AT_ONCE)
        if begin_sending(connection, each)
    ]
    for each, trouble in zip(due, send(due) if due else (), strict=True):
        if trouble is None:
            note_sent(connection, each)
            taken += 1
        elif note_refused(connection, each, trouble, now_ms=now_ms):
            _log.warning("%s was not told on %s: %s", each.told.about, each.label, trouble)
        else:
            _log.error("%s is given up on %s: %s", each.told.about, each.label, trouble)
    return taken


def by_apprise(deliveries: Sequence[Delivery]) -> list[str | None]:
    """Send messages through apprise, in a process of its own."""
    messages = [
        {
            "url": each.url,
            "title": each.told.title,
            "body": each.told.body,
            "html": each.told.html,
        }
        for each in deliveries
    ]
    return _asked(messages)


def address_trouble(url: str) -> str | None:
    """Return why an address cannot be used, ``None`` where it can; nothing is sent."""
    [trouble] = _asked([{"url": url}])
    return trouble


def _asked(messages: Sequence[dict[str, str | None]]) -> list[str | None]:
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "joulebook.reminders.sender"],
            input=json.dumps(messages),
            capture_output=True,
            text=True,
            timeout=PATIENCE_S,
            check=True,
        )
        told: list[str | None] = json.loads(done.stdout)
    except subprocess.TimeoutExpired:
        return [f"no answer within {PATIENCE_S:.0f} s"] * len(messages)
    except (subprocess.CalledProcessError, json.JSONDecodeError) as error:
        _log.warning("the process that sends ended badly: %s", type(error).__name__)
        return ["the process that sends ended badly"] * len(messages)
    return told
