"""Makes ``tests/data/schema-NNNN.sql``: a database as a released schema left it.

A file is made once for each schema, with ``python -m tests.service.storage.saved_database``, and
never changed after the release: later versions must be able to read it. ``schema-0001.sql`` was
made by the version of that schema and holds the same, all of it in hot rows. Schemas 0002 and
0003 were never released by themselves.
"""

import hashlib
import sqlite3
import sys
import tempfile
import tomllib
from contextlib import closing
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

from joulebook.core.alerts.episodes import Watch
from joulebook.core.battery.deep_test_plan import Target
from joulebook.core.corrections import Correction
from joulebook.core.money.tariff_text import tariff_of
from joulebook.storage.alert_settings import (
    AlertSettings,
    RuleSetting,
    add_channel,
    set_alert_settings,
    set_rules,
)
from joulebook.storage.alerts import KeptWatch, keep_watch, open_episode
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.connections import open_connection
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Connection, Database, ServerPlace, transaction
from joulebook.storage.days import save_day
from joulebook.storage.deep_tests import DeepTest, plan_test, start_test
from joulebook.storage.deliveries import Told, put_delivery
from joulebook.storage.event_photos import Picture, add_photo
from joulebook.storage.events import Event, add_event
from joulebook.storage.home_lines import save_numbers, save_peers, save_told
from joulebook.storage.organisations import add_organisation, place_site
from joulebook.storage.people import add_person, set_password
from joulebook.storage.periods import DAY_MS
from joulebook.storage.quarantine import put_aside
from joulebook.storage.record_results import save_record_result
from joulebook.storage.records import Column, Refused, Site, Value
from joulebook.storage.schema import APPLICATION_ID
from joulebook.storage.sealing import seal
from joulebook.storage.sessions import open_session
from joulebook.storage.shares import add_share
from joulebook.storage.sign_offs import add_sign_off
from joulebook.storage.tariffs import TariffVersion, add_tariff
from joulebook.storage.tokens import add_token, insert_token
from joulebook.storage.welcomes import make_welcome
from joulebook.storage.zone_rules import save_zone_rules
from tests.helpers.databases import write

_RELEASED = ("0001", "0004", "0005", "0006", "0007", "0014", "0017", "0018", "0019")
DATA = Path(__file__).parents[2] / "data"
#: Of every released schema, the oldest first.
SAVED = tuple(DATA / f"schema-{number}.sql" for number in _RELEASED)
SECRET = "a secret that was made up for the saved database"
FIRST_MS = round(datetime(2026, 3, 1, 23, 58, tzinfo=UTC).timestamp() * 1000)


def fill(data_dir: Path, server: ServerPlace | None = None) -> Database:
    """Write a little of everything through the public functions."""
    database = Database.open(data_dir, server)
    studio = add_site(
        database,
        "studio",
        "Europe/Lisbon",
        battery_ah=200.0,
        battery_cells=16,
        installed=date(2025, 1, 15),
        warranty_years=10.0,
        warranty_floor_ratio=0.7,
        inverter_w=6500.0,
    )
    add_site(database, "annexe", "Pacific/Apia")
    add_token(database, studio, "bridge")
    with closing(database.connect()) as connection:
        battery: dict[int, dict[str, Value]] = {
            FIRST_MS: {"power": 812.5, "soc": 0.5},
            FIRST_MS + 5000: {"power": -0.25, "soc": None},
        }
        late: dict[int, dict[str, Value]] = {FIRST_MS + 10000: {"power": None, "soc": 0.75}}
        battery_columns = [Column("power", "W"), Column("soc", "/")]
        write(connection, site_named(database, "studio"), "battery", battery, battery_columns)
        inverter: dict[int, dict[str, Value]] = {FIRST_MS: {"state": "waiting", "fan": True}}
        columns = [Column("state", "", "text"), Column("fan", "", "flag")]
        write(connection, studio, "inverter", inverter, columns)
        seal(connection, FIRST_MS + 10 * DAY_MS)
        write(connection, studio, "battery", late, battery_columns)
        save_day(connection, studio.id, date(2026, 3, 1), "day-1", b"{}", None, FIRST_MS)
        with transaction(connection):
            put_aside(connection, [REFUSED, REFUSED])
            # A real secret is random; the saved database needs one that the test knows.
            secret_hash = hashlib.sha256(SECRET.encode()).digest()
            connection.execute("UPDATE tokens SET secret_sha256 = ?", (secret_hash,))
        _say(connection, studio)
        _let_in(connection, studio)
        _stand_for(connection, studio)
        _tell(connection, studio)
        _gather(connection, studio)
    database.close()
    return database


REFUSED = Refused(
    site_id=1,
    source="bridge",
    topic="joulebook/v1/studio/battery",
    payload=b"\x00[",
    reason="not-senml",
    detail="The payload is neither JSON nor CBOR.",
    received_ms=FIRST_MS,
)


#: What the owner says, from schema 0006 on.
HALVED = Correction(
    id=1, device="battery", quantity="power", kind="scale", value=0.5, to_ms=5, made_ms=FIRST_MS
)
PANELS = Event(
    id=1, at_ms=FIRST_MS, kind="panels", title="Four more panels", note="", made_ms=FIRST_MS
)
TARGET = Target(
    rated_ah=200.0,
    cells=16,
    low_state=0.08,
    low_v=50.7,
    most_a=30.0,
    advised_a=40.0,
    expected_ah=184.0,
)
DEEP_TEST = DeepTest(
    id=1, planned_ms=FIRST_MS, started_ms=FIRST_MS + 1, target=TARGET, note="First"
)


def _say(connection: Connection, site: Site) -> None:
    add_correction(connection, site, HALVED)
    event = add_event(connection, site, PANELS)
    # From schema 0019 on. No picture: a newer encoder may write the same one in other bytes.
    add_photo(
        *(connection, site, event, Picture(b"no picture", 8, 6)),
        caption="The roof",
        now_ms=FIRST_MS,
    )
    plan_test(
        *(connection, site, DEEP_TEST.target), note=DEEP_TEST.note, planned_ms=DEEP_TEST.planned_ms
    )
    start_test(connection, site, started_ms=DEEP_TEST.started_ms or 0)
    save_record_result(
        *(connection, site.id, "record", "record-1", b"{}"), mark=1, computed_ms=FIRST_MS
    )


def _let_in(connection: Connection, site: Site) -> None:
    """Add people, and what lets them in, from schema 0008 on; with secrets that are known."""
    ada = add_person(connection, "Ada", now_ms=FIRST_MS, everywhere="owner")
    rui = add_person(connection, "Rui", now_ms=FIRST_MS, at={site.id: "viewer"})
    set_password(connection, ada.id, "no hash of any password")
    open_session(connection, ada.id, address="192.0.2.7", agent="a browser", now_ms=FIRST_MS)
    make_welcome(connection, rui.id, now_ms=FIRST_MS)
    add_share(
        *(connection, site, "/sites/studio/wear"),
        made_by="Ada",
        now_ms=FIRST_MS,
        lasts_ms=DAY_MS,
    )
    insert_token(connection, None, "reader", scope="read", now_ms=FIRST_MS)
    note_change(connection, Audited(at_ms=FIRST_MS, who="Ada", site=None, action="sign in"))
    for table in ("sessions", "welcomes", "shares", "tokens"):
        connection.execute(
            f"UPDATE {table} SET secret_sha256 = ? WHERE id = (SELECT max(id) FROM {table})",
            (hashlib.sha256(table.encode()).digest(),),
        )


def _stand_for(connection: Connection, site: Site) -> None:
    """Enter what is there from schema 0014 on: a sign-off, a tariff, an alert that is told."""
    add_sign_off(
        *(connection, site, {"checks": []}), at_ms=FIRST_MS, who="Ada", name="Ada", role="owner"
    )
    tariff = tariff_of(tomllib.loads(_TARIFF, parse_float=Decimal))
    add_tariff(connection, site, TariffVersion(id=0, tariff=tariff, made_ms=FIRST_MS))
    channel = add_channel(connection, site, label="mail", url="json://a.example", made_ms=FIRST_MS)
    set_rules(connection, site, {"gap": RuleSetting(is_on=False)})
    set_alert_settings(connection, site, AlertSettings(letter_day=6, letter_hour=18))
    with transaction(connection):
        open_episode(
            *(connection, site.id, "disk", ""), at_ms=FIRST_MS, value=4.0, sentence="it is full"
        )
        keep_watch(connection, site.id, "disk", "", KeptWatch(watch=Watch(is_open=True)))
        told = Told(about="episode 1 opened", title="studio: full", body="It is full.")
        put_delivery(connection, channel.id, told, now_ms=FIRST_MS, not_before_ms=FIRST_MS)
    save_zone_rules(connection, site, "[]", [])


def _tell(connection: Connection, site: Site) -> None:
    """Enter what is there from schema 0015 on: what is told of a home among many."""
    save_numbers(connection, [(site.id, b"{}", "record-1")], now_ms=FIRST_MS)
    save_peers(connection, [(site.id, b"{}")])
    save_told(connection, [(site.id, 90_000, ("alert",), b"[]", "all of it")], FIRST_MS)


def _gather(connection: Connection, site: Site) -> None:
    """Enter what is there from schema 0016 on: an organisation with a site and a person."""
    kiln = add_organisation(connection, "Kiln and Sun", now_ms=FIRST_MS)
    place_site(connection, site, kiln, who="Ada", now_ms=FIRST_MS)
    add_person(connection, "Fin", now_ms=FIRST_MS, inside={kiln.id: "owner"})


_TARIFF = """
currency = "EUR"
from = 2026-01-01
[[season]]
name = "year"
first = "01-01"
last = "12-31"
[[season.band]]
days = ["weekdays", "weekend"]
from = "00:00"
to = "24:00"
import = 0.2
export = 0.05
"""


def dump(path: Path) -> str:
    """Return a database as SQL, with the mark that a plain dump leaves out."""
    with closing(open_connection(path)) as connection:
        lines = list(connection.iterdump())
    return "\n".join([f"PRAGMA application_id = {APPLICATION_ID};", *lines, ""])


def load(data_dir: Path, saved: Path = SAVED[-1]) -> Path:
    """Write a saved database into a data directory and return its path."""
    path = data_dir / "joulebook.sqlite3"
    # With a plain connection: a dump names tables before it makes them.
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(saved.read_text(encoding="utf-8"))
        connection.execute("PRAGMA journal_mode = WAL")
    return path


def save(path: Path) -> None:
    """Write the file anew."""
    with tempfile.TemporaryDirectory() as data_dir:
        content = dump(fill(Path(data_dir)).path)
    path.write_text(
        f"-- Made by tests/service/storage/saved_database.py\n{content}", encoding="utf-8"
    )


if __name__ == "__main__":  # pragma: no cover -- run by hand, once for each schema
    save(Path(sys.argv[1]) if sys.argv[1:] else SAVED[-1])
