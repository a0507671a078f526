"""Photos of events: a few of each, kept as pixels with a line that says what they show."""

import hashlib
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined, joined_snapshot, on_server
from joulebook.storage.events import Event, event_numbered
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site

#: So many may be kept.
MOST_OF_AN_EVENT, MOST_OF_A_SITE = 4, 100
#: Of what is said of a photo. [characters]
LONGEST_CAPTION = 120
#: Of a photo as it is sent.
MOST_SENT_BYTES = 8 * 1024 * 1024
#: More than a phone's photo has. In memory a pixel takes up to eight bytes, however small the file.
MOST_PIXELS = 25_000_000


@dataclass(frozen=True)
class Picture:
    """A photo as it is kept: made by `joulebook.storage.pictures`.

    Attributes
    ----------
    jpeg : bytes
        Pixels, and nothing else.
    width, height : int
        [px]
    """

    jpeg: bytes
    width: int
    height: int

    @cached_property
    def sha256(self) -> str:
        """Of the bytes, as 64 hexadecimal digits."""
        return hashlib.sha256(self.jpeg).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class EventPhoto:
    """A photo of an event, but for its bytes.

    Attributes
    ----------
    id, event_id : int
        Its number, and the event's.
    caption : str
        What it shows.
    made_ms : int
        When it was added. [ms, UTC epoch]
    width, height : int
        [px]
    sha256 : str
        Of the bytes, as 64 hexadecimal digits.
    """

    id: int
    event_id: int
    caption: str
    made_ms: int
    width: int
    height: int
    sha256: str


@names_faults
def add_photo(
    connection: Connection,
    site: Site,
    event: Event,
    picture: Picture,
    *,
    caption: str,
    now_ms: int,
) -> EventPhoto:
    """Add a photo to an event of the site. No number rests on it, so nothing is computed anew.

    Raises
    ------
    UsageError
        If the event is not there or was taken back, has this photo or too many, or nothing is
        said of it.
    """
    with joined(connection):
        event_numbered(connection, site, event.id)
        there = photos_of(connection, site.id)
        of_event = there.get(event.id, [])
        _check(caption, of_event, sum(map(len, there.values())))
        if picture.sha256 in {each.sha256 for each in of_event}:
            raise _refused("the event has this very photo already", "photo", "another one")
        (number,) = connection.execute(
            """
            INSERT INTO event_photos
                (site_id, event_id, caption, made_ms, width, height, sha256, jpeg)
            VALUES (?, ?, ?, ?, ?, ?, ?, ?)
            RETURNING id
            """,
            (
                *(site.id, event.id, caption, now_ms),
                *(picture.width, picture.height, picture.sha256, picture.jpeg),
            ),
        ).fetchone()
    return EventPhoto(
        id=int(number),
        event_id=event.id,
        caption=caption,
        made_ms=now_ms,
        width=picture.width,
        height=picture.height,
        sha256=picture.sha256,
    )


@names_faults
def remove_photo(connection: Connection, site: Site, photo: EventPhoto) -> None:
    """Delete a photo for good: of a file, its bytes are written over. Backups have it still."""
    if not on_server(connection):
        connection.execute("PRAGMA secure_delete = ON")
    connection.execute("DELETE FROM event_photos WHERE id = ? AND site_id = ?", (photo.id, site.id))


@names_faults
def photos_of(connection: Connection, site_id: int) -> Mapping[int, Sequence[EventPhoto]]:
    """Return the photos of a site by the numbers of their events, in the order of their adding."""
    rows = connection.execute(
        """
        SELECT id, event_id, caption, made_ms, width, height, sha256
        FROM event_photos
        WHERE site_id = ?
        ORDER BY id
        """,
        (site_id,),
    )
    found = defaultdict(list)
    for number, event_id, caption, made_ms, width, height, sha256 in rows:
        found[event_id].append(
            EventPhoto(
                id=number,
                event_id=event_id,
                caption=caption,
                made_ms=made_ms,
                width=width,
                height=height,
                sha256=sha256,
            )
        )
    return dict(found)


@names_faults
def jpeg_of(connection: Connection, photo: EventPhoto) -> bytes:
    """Return the bytes of a photo; none where it was removed meanwhile."""
    row = connection.execute("SELECT jpeg FROM event_photos WHERE id = ?", (photo.id,)).fetchone()
    return b"" if row is None else bytes(row[0])


@names_faults
def whole_photos(connection: Connection, site_id: int) -> list[tuple[EventPhoto, bytes]]:
    """Return all photos of a site with their bytes, in the order of their adding."""
    with joined_snapshot(connection):
        there = [each for of_event in photos_of(connection, site_id).values() for each in of_event]
        there.sort(key=lambda each: each.id)
        return [(each, jpeg_of(connection, each)) for each in there]


def _check(caption: str, of_event: Sequence[EventPhoto], of_site: int) -> None:
    if not (0 < len(caption.strip()) <= LONGEST_CAPTION and caption.isprintable()):
        raise _refused(
            "it is not said what the photo shows",
            "caption",
            f"1 to {LONGEST_CAPTION} characters on one line",
        )
    if len(of_event) >= MOST_OF_AN_EVENT:
        raise _refused(
            f"the event has {len(of_event)} photos", "photo", f"at most {MOST_OF_AN_EVENT}"
        )
    if of_site >= MOST_OF_A_SITE:
        raise _refused(f"the site has {of_site} photos", "photo", f"at most {MOST_OF_A_SITE}")


def _refused(what: str, where: str, expected: str) -> UsageError:
    return UsageError(
        what,
        where=where,
        expected=expected,
        next_step="remove one, or choose another; nothing was kept",
    )
