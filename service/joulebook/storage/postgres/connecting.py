"""A connection to a server; and why there is none, told by a code and not by words.

To whom it does not let in, a server gives a code (SQLSTATE) and a sentence in its own language. Of
a connection that failed libpq tells the sentence alone, unless it was asked for the code before
(``PQsetErrorVerbosity``, "Connection Status Functions" and "Control Functions" in PostgreSQL's
manual). The driver has no word for that, but shows libpq's own connection for such cases; so who
was refused asks once more.
"""

import ctypes
import re
import select
from functools import cache
from pathlib import Path
from time import monotonic
from typing import Any

import psycopg
from psycopg.conninfo import make_conninfo
from psycopg.pq import ConnStatus, PGconn, PollingStatus, abc

#: How long the second question may take. [s]
_PATIENCE_S = 5.0
#: invalid_password: also of who gave none though one was asked for.
_UNPROVEN = "28P01"
#: Of libpq: tell the severity and the code, and nothing in words.
_SQLSTATE_ALONE = 3
# The end of a line: "FATAL:  28P01", where the first word is in the server's language.
_CODE = re.compile(rb":  ([0-9A-Z]{5})$", re.MULTILINE)
_LIBPQ = re.compile(r"libpq(-[0-9a-f]+)?\.so[.0-9]*")
_MAPS = Path("/proc/self/maps")
_EVENTS = {PollingStatus.READING: select.POLLIN, PollingStatus.WRITING: select.POLLOUT}


def connect(
    url: str, given: dict[str, Any], *, autocommit: bool = False
) -> psycopg.Connection[Any]:
    """Return a new connection.

    Raises
    ------
    psycopg.OperationalError
        If there is none; with the server's code, where it gave one.
    """
    try:
        return psycopg.connect(url, autocommit=autocommit, **given)
    except psycopg.OperationalError as error:
        # Who waited in vain would wait once more.
        if error.sqlstate is None and not isinstance(error, psycopg.errors.ConnectionTimeout):
            error.sqlstate = refusal(make_conninfo(url, **given))
        raise


def refusal(conninfo: str) -> str | None:
    """Ask a server once more, and return the code of its refusal.

    ``None`` where it gives none, takes too long, or does let us in now; and where the driver's
    library is not to be found: outside of Linux, or where it is there twice.
    """
    libpq = _libpq()
    if libpq is None:
        return None
    asking = PGconn.connect_start(conninfo.encode())
    try:
        # Its documentation has this pointer for such calls; its types do not.
        pointer = ctypes.c_void_p(asking.pgconn_ptr)  # type: ignore[attr-defined]
        libpq.PQsetErrorVerbosity(pointer, _SQLSTATE_ALONE)
        _wait(asking)
        if asking.needs_password:
            return _UNPROVEN
        found = _CODE.findall(asking.error_message)
        return found[-1].decode() if found else None
    finally:
        asking.finish()


def _wait(asking: abc.PGconn) -> None:
    """Wait until a connection is there, has failed, or has taken too long."""
    ends_s = monotonic() + _PATIENCE_S
    state = PollingStatus.WRITING
    while state in _EVENTS and asking.status != ConnStatus.BAD:
        left_s = ends_s - monotonic()
        if left_s <= 0:
            return
        poll = select.poll()
        poll.register(asking.socket, _EVENTS[state])
        poll.poll(left_s * 1000)
        state = PollingStatus(asking.connect_poll())


@cache
def _libpq() -> ctypes.CDLL | None:
    """Return the library that the driver has loaded: another one must not touch its memory."""
    paths = _loaded()
    return ctypes.CDLL(paths.pop()) if len(paths) == 1 else None


def _loaded() -> set[str]:
    """Return the files of this name that this process has loaded."""
    if not _MAPS.exists():
        return set()
    lines = (line.split(maxsplit=5) for line in _MAPS.read_text(errors="replace").splitlines())
    paths = {line[5] for line in lines if len(line) == 6}
    return {path for path in paths if _LIBPQ.fullmatch(Path(path).name)}
