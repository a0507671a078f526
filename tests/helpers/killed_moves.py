"""A process that moves a site and is killed at a point that it is told: run with ``python -m``.

It makes a copy of itself for each line on its standard input, ``POINT NUMBER``, and tells how the
copy ended: -9 where it was killed there. So that a round costs no start of Python. Points:
``piece`` is after so many pieces were committed, ``inside`` is in the transaction of such a piece,
``end`` is before the last commit, and ``seen`` after it.
"""

import os
import signal
import sys
from pathlib import Path
from typing import Any, NoReturn

from joulebook.storage import moving, moving_finish
from joulebook.storage.database import Database, server_of
from joulebook.storage.moving_sides import Side
from joulebook.storage.moving_weeks import Week
from tests.helpers.moved_sites import NAME


def die() -> NoReturn:  # pragma: no cover -- runs only where it is killed
    """Be killed, as by ``kill -9``."""
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


def move_until(  # pragma: no cover -- runs only where it is killed
    source: Path, target: Path, point: str, number: int
) -> None:
    """Move the studio, up to the point."""
    written = 0

    def progress(done: int, _total: int) -> None:
        if point == "piece" and done == number:
            die()

    week_write = Week.write

    def write(unit: Week, side: Side, content: Any) -> None:
        nonlocal written
        week_write(unit, side, content)
        written += 1
        if point == "inside" and written == number:
            die()

    setattr(Week, "write", write)  # noqa: B010 -- a method, to mypy's eyes
    if point == "end":
        setattr(moving_finish, "note_change", lambda *_: die())  # noqa: B010
    if point == "seen":
        setattr(moving, "_moved", lambda *_: die())  # noqa: B010
    moving.move_site(
        Database(source),
        Database(target, server_of(os.environ)),
        NAME,
        now_ms=1,
        progress=progress,
    )


def main() -> None:  # pragma: no cover -- in a process whose copies are killed
    """Make copies, one after the other."""
    source, target = map(Path, sys.argv[1:])
    for line in sys.stdin:
        point, number = line.split()
        process = os.fork()
        if not process:
            move_until(source, target, point, int(number))
            os._exit(0)
        _, status = os.waitpid(process, 0)
        sys.stdout.write(f"{os.waitstatus_to_exitcode(status)}\n")
        sys.stdout.flush()


if __name__ == "__main__":  # pragma: no cover -- in a process of its own
    main()
