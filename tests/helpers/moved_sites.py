"""A house with a site that has a row in every table, to be moved; and databases to move it to."""

from contextlib import closing
from pathlib import Path

from joulebook.core.alerts.episodes import Watch
from joulebook.storage.alert_settings import add_channel
from joulebook.storage.alerts import KeptWatch, keep_watch, open_episode
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.catalogue import add_site, site_named, sites
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.deliveries import Told, put_delivery
from joulebook.storage.people import add_person
from joulebook.storage.quarantine import QuarantineRoom, put_aside
from joulebook.storage.records import Column, Refused, Site, Value
from joulebook.storage.sealing import seal
from joulebook.storage.tokens import insert_token
from joulebook.summaries.quarters import rebuild_quarters
from joulebook.summaries.recompute import recompute
from tests.helpers.databases import write
from tests.helpers.said_studio import said_studio
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, write_days

NAME = "studio"
#: Of which many may be kept, but no more than three messages.
ROOM = QuarantineRoom(messages=3, bytes=10_000)
COLUMNS = [Column("state", "", "text"), Column("fan", "", "flag"), Column("power", "W")]


def full_house(data_dir: Path) -> Database:
    """Return a file's database with a site ``studio`` that has something of everything."""
    database, site = said_studio(data_dir)
    with closing(database.connect()) as connection:
        write_days(connection, site, range(9))
        inverter: dict[int, dict[str, Value]] = {
            MONDAY_MS + DAY_MS * day: {"state": "idle\N{DEGREE SIGN}", "fan": day % 2 == 0}
            for day in range(9)
        }
        write(connection, site, "inverter", inverter, COLUMNS)
        write(connection, site, "inverter", {MONDAY_MS + 1: {"power": -0.0}}, COLUMNS)
        seal(connection, LATER_MS - 4 * DAY_MS)
        _tell(connection, site)
    recompute(database, site, clock_ms=lambda: LATER_MS, helped=False)
    rebuild_quarters(database, site)
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {MONDAY_MS + 60_000: {"power": 7.0}})  # late
        connection.execute(
            "INSERT INTO record_results (site_id, name, method, mark, computed_ms, result) "
            "VALUES (?, 'record', 'record-1', 1, 5, ?), (?, 'checks', 'checks-1', 1000000, 6, ?)",
            (site.id, b"behind", site.id, b"in step"),
        )
        connection.execute(
            "INSERT INTO final_before (site_id, day, start_ms) VALUES (?, '2020-01-01', 0)",
            (site.id,),
        )
        connection.execute("INSERT INTO zone_rules (site_id, rules) VALUES (?, '[]')", (site.id,))
    return database


def _tell(connection: Connection, site: Site) -> None:
    ana = add_person(connection, "Ana", now_ms=1, at={site.id: "owner"})
    add_person(connection, "Rui", now_ms=1, at={site.id: "viewer"})
    assert ana.at == {site.id: "owner"}
    insert_token(connection, site, "shed", scope="write", now_ms=2)
    note_change(connection, Audited(at_ms=3, who="Ana", site=site.name, action="add event"))
    put_aside(connection, [refused_message(site, number) for number in range(5)], of_a_site=ROOM)
    connection.execute(
        "INSERT INTO shares (secret_sha256, site_id, page, made_by, made_ms, ends_ms) "
        "VALUES (?, ?, '/sites/studio/wear', 'Ana', 1, 9)",
        (b"\x01" * 32, site.id),
    )
    mail = add_channel(connection, site, label="mail", url="json://b.example", made_ms=4)
    with transaction(connection):
        keep_watch(connection, site.id, "disk", "", KeptWatch(watch=Watch(is_open=True)))
        for at_ms in (5, 6):
            open_episode(
                *(connection, site.id, "disk", str(at_ms)), at_ms=at_ms, value=4.0, sentence="full"
            )
        for about in ("episode 2 opened", "episode 77 closed", "letter 2026-W10"):
            told = Told(about=about, title="studio: full", body="It is full.")
            put_delivery(connection, mail.id, told, now_ms=7, not_before_ms=8)
    connection.execute("UPDATE alert_deliveries SET state = 'delivered' WHERE about LIKE 'lett%'")


def refused_message(site: Site, number: int) -> Refused:
    return Refused(
        site_id=site.id,
        source="shed",
        topic="joulebook/v1/studio/battery",
        payload=bytes([number, 0]),
        reason="not-senml",
        detail="no\0thing",
        received_ms=LATER_MS + number,
    )


def shifted(database: Database) -> Database:
    """Return a database in which numbers of rows and marks are others than a site's first."""
    with closing(database.connect()) as connection:
        annex = add_site(database, "annex", "UTC")
        write_days(connection, annex, range(2), device="meter")
        insert_token(connection, annex, "hut", scope="write", now_ms=1)
        add_channel(connection, annex, label="post", url="json://c.example", made_ms=1)
        add_person(connection, "Ana", now_ms=1)
        with transaction(connection):
            open_episode(connection, annex.id, "disk", "", at_ms=1, value=1.0, sentence="low")
    assert site_named(database, "annex").id == annex.id
    return database


def names(database: Database) -> list[str]:
    """Return the names of the sites that are seen."""
    return [site.name for site in sites(database)]
