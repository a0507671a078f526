"""How the service's threads share memory."""

import ctypes
from contextlib import suppress

_M_ARENA_MAX = -8  # of glibc's malloc.h


def share_one_arena() -> None:
    """Let all threads take memory from one place; to be called before there are any.

    By default glibc gives a thread a place of its own (mallopt(3), M_ARENA_MAX), and what it gives
    back stays there: with some thirty threads that serve pages by turns, a tenth of the service's
    memory. They hardly ever wait for each other: Python lets one of them run at a time.
    """
    # Where the C library is another one, nothing is to be done.
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, 1)
