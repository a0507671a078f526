"""The evidence files that were made from a page: one at a time, kept in the data directory."""

import os
import re
import shutil
import subprocess
import sys
import threading
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from joulebook.errors import UnavailableError
from joulebook.evidence.file import Paper
from joulebook.storage.database import Database
from joulebook.storage.new_files import new_file
from joulebook.storage.records import Site
from joulebook.summaries.threads import ONE_THREAD

#: The folder below the data directory.
FOLDER = "evidence"
#: So many files of a site are kept; the owner deletes one before he makes another.
MOST_FILES = 10
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,62}-\d{8}T\d{6}Z\.zip")


@dataclass(frozen=True, slots=True)
class ShelvedFile:
    """A file that can be fetched: its name, its length [byte] and when it was made. [ms, UTC]"""

    name: str
    length: int
    made_ms: int


class EvidenceShelf:
    """Makes evidence files in a process of its own, one at a time, and knows those made before.

    Parameters
    ----------
    database : Database
        What it tells of; its files lie in the data directory.
    max_gap_s : float
        No line between readings bridges more. [s]
    """

    def __init__(self, database: Database, *, max_gap_s: float) -> None:
        self._database = database
        self._folder = database.data_dir / FOLDER
        self._max_gap_s = max_gap_s
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._site: str | None = None
        self._failed: dict[str, str] = {}

    def start(self, site: Site, paper: Paper, *, now_ms: int) -> None:
        """Begin to make a file.

        Raises
        ------
        UnavailableError
            If one is being made, or the site has as many as are kept.
        """
        with self._lock:
            if self._thread is not None and self._thread.is_alive():
                raise _busy(f"a file of site {self._site} is being made", "wait until it is there")
            if len(self.files(site)) >= MOST_FILES:
                raise _busy(f"{MOST_FILES} files of {site.name} are kept", "delete one of them")
            self._folder.mkdir(mode=0o700, exist_ok=True)
            stamp = datetime.fromtimestamp(now_ms / 1000, tz=UTC)
            file = self._folder / f"{site.name}-{stamp:%Y%m%dT%H%M%SZ}.zip"
            self._site = site.name
            self._failed.pop(site.name, None)
            self._thread = threading.Thread(
                target=self._make, args=(site.name, file, paper), name="evidence", daemon=True
            )
            self._thread.start()

    def is_making(self, site: Site) -> bool:
        """Tell whether a file of the site is being made."""
        return self._site == site.name and self._thread is not None and self._thread.is_alive()

    def failure(self, site: Site) -> str | None:
        """Return why the last file of the site could not be made; ``None`` where it could."""
        return self._failed.get(site.name)

    def files(self, site: Site) -> list[ShelvedFile]:
        """Return the files of a site, the newest first."""
        found = []
        for path in self._folder.glob("*.zip"):
            if _NAME.fullmatch(path.name) and path.name[:-21] == site.name:
                made = datetime.strptime(path.name[-20:-4], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
                made_ms = round(made.timestamp() * 1000)
                found.append(ShelvedFile(path.name, path.stat().st_size, made_ms))
        return sorted(found, key=lambda each: each.made_ms, reverse=True)

    def path_of(self, site: Site, name: str) -> Path | None:
        """Return where a file of a site is, ``None`` where it has none of that name."""
        known = {each.name for each in self.files(site)}
        return self._folder / name if name in known else None

    def keep(self, file: Path) -> None:
        """Keep a copy of a file of another shelf, under its name.

        Raises
        ------
        DataRefusedError
            If there is another file of that name.
        """
        there = self._folder / file.name
        if there.exists() and there.read_bytes() == file.read_bytes():
            return
        self._folder.mkdir(mode=0o700, exist_ok=True)
        with new_file(there) as unfinished:
            shutil.copyfile(file, unfinished)

    def delete(self, site: Site, name: str) -> bool:
        """Delete a file of a site; tell whether it was there."""
        path = self.path_of(site, name)
        if path is None:
            return False
        path.unlink(missing_ok=True)
        return True

    def wait(self, timeout_s: float) -> None:
        """Wait until no file is being made."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def _make(self, site: str, file: Path, paper: Paper) -> None:
        done = subprocess.run(
            [
                *(sys.executable, "-P", "-m", "joulebook.evidence.worker"),
                *(str(self._database.data_dir), site, str(file), paper, str(self._max_gap_s)),
            ],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            env={**os.environ, **ONE_THREAD, **self._database.environment},
            process_group=0,
        )
        if done.returncode != 0:
            last = done.stderr.strip().splitlines()[-1:] or [f"status {done.returncode}"]
            self._failed[site] = last[0]


def _busy(what: str, next_step: str) -> UnavailableError:
    return UnavailableError(
        what,
        where="the page of evidence files",
        expected=f"one at a time, and at most {MOST_FILES} of a site",
        next_step=next_step,
    )
