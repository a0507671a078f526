"""Whether photos of events are, to the bit, those that were kept."""

import hashlib

from joulebook.storage.connections import Connection
from joulebook.storage.findings import Findings
from joulebook.storage.tables import bytes_of, has_table


def check_photos(connection: Connection, findings: Findings) -> None:
    """Compare each photo with its SHA-256; databases of earlier versions have none."""
    if not has_table(connection, "event_photos"):
        return
    numbers = connection.execute("SELECT id FROM event_photos ORDER BY id").fetchall()
    findings.checked["photos"] = len(numbers)
    for (number,) in numbers:
        # One at a time: together they may be larger than the memory.
        site, sha256, jpeg = connection.execute(
            f"""
            SELECT coalesce(sites.name, 'site ' || site_id), sha256, {bytes_of(connection, "jpeg")}
            FROM event_photos
            LEFT JOIN sites ON sites.id = site_id
            WHERE event_photos.id = ?
            """,  # noqa: S608 -- the name of a column
            (number,),
        ).fetchone()
        if hashlib.sha256(jpeg).hexdigest() != sha256:
            findings.damage.append(f"photo {number} of {site} is not as it was kept")
