"""Photos of events in an evidence file: to the byte, in the manifest, and named in the PDF."""

import csv
import hashlib
from contextlib import closing
from pathlib import Path

from pypdf import PdfReader

from joulebook.storage.event_photos import EventPhoto, add_photo
from joulebook.storage.events import Event, add_event
from tests.helpers.databases import NOON_MS
from tests.helpers.evidence_files import Unpacked, made_evidence
from tests.helpers.pages import Studio, empty_studio
from tests.helpers.photos import small_picture


def photographed(folder: Path) -> tuple[Studio, EventPhoto]:
    """Return a studio with an event and a photo of it."""
    studio = empty_studio(folder)
    lugs = Event(id=0, at_ms=NOON_MS, kind="wiring", title="Lugs tightened", made_ms=NOON_MS)
    with closing(studio.database.connect()) as connection:
        event = add_event(connection, studio.site, lugs)
        photo = add_photo(
            *(connection, studio.site, event, small_picture()),
            caption="The lugs, 6 Nm",
            now_ms=NOON_MS + 1,
        )
    return studio, photo


def text_of(unpacked: Unpacked) -> str:
    pages = PdfReader(unpacked.folder / "evidence.pdf").pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_a_photo_is_in_it_to_the_byte_and_the_checker_looks_at_it(tmp_path: Path) -> None:
    studio, photo = photographed(tmp_path / "data")
    file = made_evidence(studio, tmp_path / "file", now_ms=NOON_MS + 2)
    name = f"photo-{photo.id}.jpg"
    jpeg = (file.folder / name).read_bytes()
    assert jpeg == small_picture().jpeg
    digest = hashlib.sha256(jpeg).hexdigest()
    assert f"{digest}  {name}\n" in file.text("manifest.txt")
    with (file.folder / "photos.csv").open(encoding="utf-8", newline="") as stream:
        [row] = csv.DictReader(stream)
    assert row == {
        "file": name,
        "event": "Lugs tightened",
        "event_at": "2026-03-01T12:00:00.000+00:00",
        "shows": "The lugs, 6 Nm",
        "added": "2026-03-01T12:00:00.001+00:00",
        "width": "8",
        "height": "6",
        "sha256": digest,
    }
    text = text_of(file)
    assert "Photos of events" in text
    assert "The lugs, 6 Nm" in text
    assert digest in text.replace(" ", "")
    assert file.check()[0] == 0
    again = made_evidence(studio, tmp_path / "again", now_ms=NOON_MS + 2)
    assert again.file.read_bytes() == file.file.read_bytes()
    (file.folder / name).write_bytes(jpeg + b"x")
    status, said = file.check()
    assert status == 1
    assert f"{name} is missing or was changed" in said


def test_without_one_it_says_nothing_of_photos(tmp_path: Path) -> None:
    file = made_evidence(empty_studio(tmp_path / "data"), tmp_path / "file", now_ms=NOON_MS)
    assert "Photos of events" not in text_of(file)
    assert file.text("photos.csv").splitlines() == [
        "file,event,event_at,shows,added,width,height,sha256"
    ]
