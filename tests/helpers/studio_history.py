"""The demonstration's studio, told once for all tests that look at it."""

from datetime import date
from functools import cache

from joulebook.demo.history import History, Stretch
from joulebook.demo.plant import Truth

INSTALLED = date(2025, 9, 1)


@cache
def told(days: int) -> tuple[History, Stretch]:
    """Return the history after its first days, and those days. Do not go on with it."""
    history = History(INSTALLED)
    return history, history.tell(days)


def fourteen_months() -> Truth:
    """Return what really was during the studio's first 426 days."""
    return told(426)[1].truth
