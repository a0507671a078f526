"""A process that sends some messages through apprise and ends: it takes some 60 MB meanwhile.

It reads a JSON list of messages from standard input, so that no secret address stands in a list
of processes, and writes a JSON list of what went wrong with each, null where nothing did.
"""

import json
import logging
import re
import sys
from typing import Any

import apprise

#: What is said of an address that apprise does not know.
NO_ADDRESS = "the address is not one that can be used"
_STATUS = re.compile(r"error=(\d{3})")


class _Heard(logging.Handler):
    """Keeps the last HTTP status that apprise complains about; its words may hold an address."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.status: str | None = None

    def emit(self, record: logging.LogRecord) -> None:
        found = _STATUS.search(record.getMessage())
        if found:
            self.status = found[1]


def trouble_of(message: dict[str, Any]) -> str | None:
    """Send a message and return what went wrong, without its address; ``None`` where nothing."""
    heard = _Heard()
    logging.getLogger("apprise").addHandler(heard)
    try:
        channel = apprise.Apprise()
        if not channel.add(message["url"]):
            return NO_ADDRESS
        if "body" not in message:  # only asked whether the address can be used
            return None
        # Mail shows HTML where it can; whoever cannot gets it as plain text from apprise.
        body, form = message["body"], apprise.NotifyFormat.TEXT
        if message["html"] and takes_html(message["url"]):
            body, form = message["html"], apprise.NotifyFormat.HTML
        sent = channel.notify(title=message["title"], body=body, body_format=form)
    finally:
        logging.getLogger("apprise").removeHandler(heard)
    if sent:
        return None
    return f"the service answered {heard.status}" if heard.status else "the service did not take it"


def takes_html(url: str) -> bool:
    """Tell whether a channel is mail."""
    return url.partition(":")[0].lower() in {"mailto", "mailtos"}


def main() -> int:
    """Send what standard input holds, and write what went wrong."""
    logging.getLogger("apprise").propagate = False
    messages = json.load(sys.stdin)
    json.dump([trouble_of(message) for message in messages], sys.stdout)
    return 0


if __name__ == "__main__":
    sys.exit(main())
