"""Keeps a bug from costing more than the one connection in which it shows."""

import logging
from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec, Protocol, TypeVar

log = logging.getLogger(__name__)
P = ParamSpec("P")


class Fenced(Protocol):
    """What has fenced methods."""

    peer: str

    def drop(self, reason: str, what: str) -> None:
        """Close at once, and count and log why."""


F = TypeVar("F", bound=Fenced)


def fenced(method: Callable[Concatenate[F, P], None]) -> Callable[Concatenate[F, P], None]:
    """Let a bug cost the one connection in which it showed."""

    @wraps(method)
    def within(self: F, /, *args: P.args, **kwargs: P.kwargs) -> None:
        try:
            method(self, *args, **kwargs)
        except Exception:
            log.exception("a bug while serving %s", self.peer)
            self.drop("bug", "met a bug of ours")

    return within
