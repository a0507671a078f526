"""The whole service on a PostgreSQL server: the same numbers, the same pages, nothing lost."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import httpx2
import pytest

from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.days import day_results
from joulebook.storage.reading import latest_readings, read_device
from joulebook.storage.sealing import seal_all
from joulebook.storage.tokens import add_token
from joulebook.summaries.quarters import rebuild_quarters
from joulebook.summaries.recompute import recompute
from joulebook.summaries.record_update import update_record
from joulebook.summaries.site_records import stored_record
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.numbered_publisher import START_MS, NumberedPublisher
from tests.helpers.postgres import PostgresServer
from tests.helpers.same_readings import same_readings
from tests.helpers.service import serve, unused_port
from tests.helpers.site_pages import paths
from tests.helpers.stored_plants import plant_studio

pytestmark = pytest.mark.outside

#: A month after the plant's days. [ms, UTC epoch]
LATER_MS = 1_783_000_000_000


@pytest.fixture
def careful() -> Iterator[PostgresServer]:
    """A server whose commits wait for the disk, and which a test may stop and kill."""
    server = PostgresServer(fsync=True)
    server.start()
    yield server
    server.remove()


def _computed(database: Database, name: str) -> dict[str, Any]:
    """Return what is stored of a site's results, but for its ids."""
    with closing(database.connect()) as connection:
        (site,) = connection.execute("SELECT id FROM sites WHERE name = ?", (name,)).fetchone()
        return {
            "days": day_results(connection, site, None, None),
            "newest": [
                (one.series.quantity, one.at_ms, one.value)
                for one in latest_readings(connection, site)
            ],
            "chain": connection.execute(
                """
                SELECT number, day, readings, digest, hash
                FROM seal_links
                WHERE site_id = ?
                ORDER BY number
                """,
                (site,),
            ).fetchall(),
            "quarters": connection.execute("SELECT count(*) FROM quarters").fetchone(),
        }


def test_the_same_readings_give_the_same_numbers_bit_for_bit(
    tmp_path: Path, postgres: PostgresServer
) -> None:
    places: list[ServerPlace | None] = [None, postgres.place()]
    homes, results, records = [], [], []
    for number, place in enumerate(places):
        database, site, _ = plant_studio(tmp_path / str(number), server=place)
        recompute(database, site, clock_ms=lambda: LATER_MS)
        seal_all(database, LATER_MS)
        rebuild_quarters(database, site)
        update_record(database, site, clock_ms=lambda: LATER_MS, max_gap_s=300.0)
        homes.append((database, site))
        results.append(_computed(database, site.name))
        with closing(database.connect()) as connection:
            record = stored_record(connection, site)
            assert record is not None
            records.append(record.document)
    assert same_readings(*homes) > 10_000
    assert results[0] == results[1]
    assert results[0]["days"]
    assert results[0]["chain"]
    assert records[0] == records[1]
    for database, _ in homes:
        database.close()


def test_every_page_opens_and_nothing_is_lost_while_the_server_is_away(
    tmp_path: Path, careful: PostgresServer
) -> None:
    place = ServerPlace(url=careful.empty_database())
    database = Database.open(tmp_path, place)
    site = add_site(database, "studio", "Europe/Lisbon")
    port, log = unused_port(), tmp_path / "log"
    publisher = NumberedPublisher(port, add_token(database, site, "shed"))
    settings = {"JOULEBOOK_DATABASE": place.url, "JOULEBOOK_DATABASE_WAIT_S": "5"}
    service = serve(tmp_path, mqtt_port=port, log=log, settings=settings)
    publisher.publish(100)
    publisher.wait_for_all()
    with httpx2.Client(base_url=service.pages, timeout=60.0) as client:
        answers = {path: client.get(path.format(site="studio")).status_code for path in paths()}
        assert set(answers.values()) <= {200, 303, 307}, answers
        careful.kill()
        publisher.publish(100)
        wait_until(lambda: client.get("/readyz").status_code == 503, 60)
        careful.start()
        publisher.wait_for_all()
        wait_until(lambda: client.get("/readyz").status_code == 200, 60)
    assert service.end() == 0
    with closing(database.connect()) as connection:
        readings = read_device(connection, site.id, "battery", Span(START_MS, START_MS + 200_000))
    assert readings.values["power"].tolist() == [float(number) for number in range(200)]
    said = log.read_text(encoding="utf-8")
    assert "Traceback" not in said
    assert "clay" not in said
    publisher.stop()
    database.close()
