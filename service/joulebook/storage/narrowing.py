"""What the request under way may read at all: the second wall, behind the checks of handlers.

On a server every connection that is taken while this is set sees rows of these sites and no
others, whatever statement is sent (`joulebook.storage.postgres.policies`). A file has no such
wall. Threads of our own begin with nothing set: workers, the ingest and commands see everything.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Narrowing:
    """Whose rows may be read and written.

    Attributes
    ----------
    sites : frozenset of int
        Ids of sites.
    organisations : frozenset of int
        Ids of organisations: what is said of themselves, and sites that are just being added.
    people : frozenset of int
        Ids of those as whom it is asked: their accounts, and where they are signed in.
    looked_after : frozenset of int
        Ids of organisations whose people are seen, and the accounts changed of those among them
        who may do nothing elsewhere.
    signing_in : str
        A name, folded, that was given to sign in: the account is found, and not changed.
    welcome : bytes
        The hash of a welcome link's secret: the link and the account that it opens.
    """

    sites: frozenset[int] = frozenset()
    organisations: frozenset[int] = frozenset()
    people: frozenset[int] = frozenset()
    looked_after: frozenset[int] = frozenset()
    signing_in: str = ""
    welcome: bytes = b""

    def of_sites(self) -> "Narrowing":
        """Return the part that says which sites are seen: the same for all who see these."""
        return Narrowing(self.sites, self.organisations)


_now: ContextVar[Narrowing | None] = ContextVar("narrowing", default=None)


def narrowing() -> Narrowing | None:
    """Return what holds now; ``None`` where everything may be read."""
    return _now.get()


def narrow(to: Narrowing | None) -> None:
    """Let it hold from now on, in this request and in what it waits for."""
    _now.set(to)


@contextmanager
def narrowed(to: Narrowing | None) -> Iterator[None]:
    """Let it hold until the block ends."""
    token = _now.set(to)
    try:
        yield
    finally:
        _now.reset(token)


def may_read(site_id: int) -> bool:
    """Tell whether rows of a site may be read now: for whoever keeps such rows at hand."""
    now = _now.get()
    return now is None or site_id in now.sites
