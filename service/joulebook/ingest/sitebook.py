"""The sites by name and id, remembered, and asked for again when one is not known."""

import time
from collections.abc import Callable
from zoneinfo import ZoneInfo

from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database
from joulebook.storage.records import Site

#: A site that another process adds is found after this at the latest. [s]
ASK_AGAIN_S = 1.0


class SiteBook:
    """Looks sites up without asking the database for each message.

    Parameters
    ----------
    monotonic_s : callable
        A clock that only goes forward. [s]
    """

    def __init__(
        self, database: Database, *, monotonic_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._database = database
        self._monotonic_s = monotonic_s
        self._asked_s: float | None = None
        self._by_name: dict[str, Site] = {}
        self._by_id: dict[int, ZoneInfo] = {}
        self._names: dict[int, str] = {}

    def id_of(self, name: str) -> int | None:
        """Return the id of a site, ``None`` where no site has the name."""
        if name not in self._by_name:
            self._ask()
        site = self._by_name.get(name)
        return None if site is None else site.id

    def zone_of(self, site_id: int) -> ZoneInfo:
        """Return the time zone of a site.

        Raises
        ------
        KeyError
            If no site has the id.
        """
        if site_id not in self._by_id:
            self._ask()
        return self._by_id[site_id]

    def name_of(self, site_id: int) -> str | None:
        """Return the name of a site, ``None`` where no site has the id."""
        if site_id not in self._names:
            self._ask()
        return self._names.get(site_id)

    def knows(self, site_id: int | None) -> bool:
        """Return whether a site with the id was there when last asked."""
        return site_id in self._by_id

    def _ask(self) -> None:
        now_s = self._monotonic_s()
        if self._asked_s is not None and now_s - self._asked_s < ASK_AGAIN_S:
            return
        found = sites(self._database)
        self._asked_s = now_s
        self._by_name = {site.name: site for site in found}
        self._by_id = {site.id: site.zone for site in found}
        self._names = {site.id: site.name for site in found}
