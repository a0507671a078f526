"""Logs on standard error: a line an event for a person, or a JSON document a line for a program.

Both are in UTC, without secrets, and without the same words a thousand times.
"""

import json
import logging
import re
import sys
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from datetime import UTC, datetime

#: The same words come no more often than this within a minute; the rest is counted.
MOST_A_MINUTE = 20
_MINUTE_S = 60.0
# Words remembered at a time. Ours are constants; those of others may hold anything.
_MOST_WORDS = 500

# What every record has; all else was given by ``extra``.
_USUAL = frozenset(vars(logging.makeLogRecord({}))) | {"message", "asctime", "withheld"}

# The second line of defence: nothing of this should reach a log in the first place.
_SECRETS = (
    (re.compile(r"""(\w+://[^\s/:@"']*):[^\s/@"']+@"""), r"\1:…@"),  # an address with a password
    (re.compile(r"(?i)\b((?:basic|bearer) )[\w+/=.~-]{8,}"), r"\1…"),  # RFC 7617, RFC 6750
    # Our own: 256 bits as storage/secrets.py writes them, in links, cookies and tokens.
    (re.compile(r"(?<![\w-])[\w-]{43}(?![\w-])"), "…"),
)


def set_up_logs(level: str, form: str = "text") -> None:
    """Send everything of ``level`` and above to standard error."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines() if form == "json" else TextLines())
    handler.addFilter(Repeats())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    # Other people's libraries speak up only when something is wrong.
    for name in ("alembic", "uvicorn", "asyncio"):
        logging.getLogger(name).setLevel(logging.WARNING)


def without_secrets(text: str) -> str:
    """Return a text with whatever looks like a secret taken out."""
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


class TextLines(logging.Formatter):
    """A line for a person: when, how bad, where, and what."""

    def __init__(self) -> None:
        super().__init__(
            "%(asctime)sZ %(levelname)-7s %(name)s: %(message)s", datefmt="%Y-%m-%dT%H:%M:%S"
        )
        self.converter = time.gmtime

    def formatMessage(self, record: logging.LogRecord) -> str:  # noqa: N802 -- logging's name
        """Return the line without a traceback."""
        withheld = getattr(record, "withheld", 0)
        more = f" ({withheld} like it came since and were only counted)" if withheld else ""
        return super().formatMessage(record) + more

    def format(self, record: logging.LogRecord) -> str:
        """Return the line, and the traceback below it where there is one."""
        return without_secrets(super().format(record))


class JsonLines(logging.Formatter):
    """A JSON document in one line.

    ``time`` is RFC 3339 in UTC; ``event`` are the words before values are put in, the same each
    time, and ``text`` the whole sentence; ``fields`` are the values that have names.
    """

    def format(self, record: logging.LogRecord) -> str:
        """Return the document."""
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        document: dict[str, object] = {
            "time": at.replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "thread": record.threadName,
            "event": without_secrets(str(record.msg)),
            "text": without_secrets(record.getMessage()),
        }
        fields = {
            name: value if isinstance(value, int | float) else without_secrets(str(value))
            for name, value in vars(record).items()
            if name not in _USUAL
        }
        if fields:
            document["fields"] = fields
        if withheld := getattr(record, "withheld", 0):
            document["withheld"] = withheld
        if record.exc_info:
            document["exception"] = without_secrets(self.formatException(record.exc_info))
        return json.dumps(document, ensure_ascii=False)


class Repeats(logging.Filter):
    """Lets the same words through so often a minute, then counts them until the minute is over.

    Parameters
    ----------
    now_s : callable
        Seconds of a clock that never goes back.
    """

    def __init__(self, now_s: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._now_s = now_s
        self._lock = threading.Lock()
        self._seen: OrderedDict[tuple[str, int, str], tuple[float, int]] = OrderedDict()

    def filter(self, record: logging.LogRecord) -> bool:
        """Tell whether a record is written; it then says how many like it were not."""
        words = (record.name, record.levelno, str(record.msg))
        now_s = self._now_s()
        with self._lock:
            since_s, count = self._seen.pop(words, (now_s, 0))
            if now_s - since_s >= _MINUTE_S:
                record.withheld = max(0, count - MOST_A_MINUTE)
                since_s, count = now_s, 0
            self._seen[words] = (since_s, count + 1)
            if len(self._seen) > _MOST_WORDS:
                self._seen.popitem(last=False)
        return count < MOST_A_MINUTE
