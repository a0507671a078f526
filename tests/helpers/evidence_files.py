"""Evidence files of studios, unpacked, and what their checker says in a process of its own."""

import contextlib
import io
import subprocess
import sys
import zipfile
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from joulebook.evidence import check
from joulebook.evidence.file import Made, Paper, make_evidence
from joulebook.evidence.raw import MOST_READINGS
from joulebook.storage.events import Event, add_event
from joulebook.storage.sealing import seal
from joulebook.storage.sign_offs import add_sign_off
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS
from tests.helpers.pages import Studio

VERSION = "1.2.3"


@dataclass(frozen=True, slots=True)
class Unpacked:
    """An evidence file and the folder in which it is unpacked."""

    file: Path
    folder: Path
    made: Made

    def text(self, name: str) -> str:
        """Return a file's text."""
        return (self.folder / name).read_text(encoding="utf-8")

    def check(self, older: Path | None = None) -> tuple[int, str]:
        """Return the checker's status and what it says, in this process."""
        said = io.StringIO()
        with contextlib.redirect_stdout(said):
            status = check.main(self.folder, older)
        return status, said.getvalue()

    def check_alone(self, *arguments: str) -> tuple[int, str]:
        """Return the same of a process of its own, which knows nothing of joulebook."""
        done = subprocess.run(
            [sys.executable, "-I", "check.py", *arguments],
            cwd=self.folder,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.stderr == ""
        return done.returncode, done.stdout


def signed(studio: Studio, days: int) -> Studio:
    """Return a studio with an event and a sign-off, its old days sealed."""
    now_ms = START_MS + days * DAY_MS
    with closing(studio.database.connect()) as connection:
        seal(connection, now_ms)
        at_ms = START_MS + 5 * DAY_MS
        event = Event(id=0, at_ms=at_ms, kind="settings", title="Reserve 10 %", made_ms=now_ms)
        add_event(connection, studio.site, event)
        add_sign_off(
            connection,
            studio.site,
            {"checks": {"checks": [{"verdict": "good"}, {"verdict": "unclear"}]}},
            at_ms=now_ms,
            who="this machine",
            name="Ana Potter",
            role="owner",
        )
    return studio


def made_evidence(
    studio: Studio,
    folder: Path,
    *,
    now_ms: int,
    paper: Paper = "a4",
    most_readings: int = MOST_READINGS,
) -> Unpacked:
    """Make a studio's evidence file and unpack it."""
    folder.mkdir()
    file = folder / "evidence.zip"
    made = make_evidence(
        studio.database,
        studio.site,
        file,
        clock_ms=lambda: now_ms,
        version=VERSION,
        max_gap_s=300.0,
        paper=paper,
        most_readings=most_readings,
    )
    unpacked = folder / "unpacked"
    with zipfile.ZipFile(file) as archive:
        archive.extractall(unpacked)
    return Unpacked(file, unpacked, made)
