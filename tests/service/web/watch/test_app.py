"""What a copy that only takes readings in tells those who watch it, and whom."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families as parsed
from starlette.testclient import TestClient

from joulebook.ingest.throttle import Throttle
from joulebook.storage.database import Database, transaction
from joulebook.storage.quarantine import put_aside
from joulebook.storage.records import Refused, Site
from joulebook.storage.tokens import add_token
from joulebook.web.watch.app import watch_app
from joulebook.web.watch.health import Health
from tests.helpers.databases import studio

NOW_MS = 1_780_000_000_000
WELL = Health(ready=True, messages=7, commits=2)


class Copy:
    """The application, and how the copy behind it does."""

    def __init__(self, database: Database, site: Site) -> None:
        self.database, self.site = database, site
        self.health = WELL
        app = watch_app(
            database,
            clock_ms=lambda: NOW_MS,
            health=lambda: self.health,
            version="1.2.3",
            guesses=Throttle(),
        )
        self.here = TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 50_000))
        self.elsewhere = TestClient(app, base_url="http://copy", client=("192.0.2.7", 50_000))


@pytest.fixture
def copy(tmp_path: Path) -> Iterator[Copy]:
    database, site = studio(tmp_path)
    copy = Copy(database, site)
    yield copy
    copy.here.close()
    copy.elsewhere.close()
    database.close()


def test_that_it_is_alive_and_ready_is_for_everybody(copy: Copy) -> None:
    assert copy.elsewhere.get("/healthz").json() == {"status": "alive"}
    ready = copy.elsewhere.get("/readyz")
    assert (ready.status_code, ready.json()) == (200, {"ready": True})
    assert ready.headers["cache-control"] == "no-store"
    assert copy.elsewhere.get("/sites").status_code == 404


def test_why_it_is_not_ready_is_for_this_machine(copy: Copy) -> None:
    copy.health = replace(WELL, ready=False, problems=("the disk is full",))
    there = copy.elsewhere.get("/readyz")
    assert (there.status_code, there.json()) == (503, {"ready": False})
    here = copy.here.get("/readyz")
    assert here.json() == {"ready": False, "problems": ["the disk is full"]}


def test_its_numbers_are_those_that_it_has(copy: Copy) -> None:
    refused = Refused(
        site_id=copy.site.id,
        source="shed",
        topic="joulebook/v1/studio/battery",
        payload=b"{",
        reason="json-malformed",
        detail="ends too early",
        received_ms=NOW_MS,
    )
    connection = copy.database.connect()
    with transaction(connection):
        put_aside(connection, [refused])
    connection.close()
    answer = copy.here.get("/metrics")
    values = {
        (sample.name, *sample.labels.values()): sample.value
        for family in parsed(answer.text)
        for sample in family.samples
    }
    assert values["joulebook_messages_total",] == 7
    assert values["joulebook_build_info", "1.2.3"] == 1
    assert values["joulebook_set_aside_messages", "json-malformed"] == 1
    # It computes no days and seals nothing: no number, and no zero.
    assert not {name for name, *_ in values if "dirty" in name or "sealed" in name}


def test_numbers_go_to_a_token_for_them_and_to_no_other(copy: Copy) -> None:
    refusal = copy.elsewhere.get("/metrics")
    assert refusal.status_code == 401
    assert refusal.headers["www-authenticate"].startswith("Basic")
    watcher = ("watcher", add_token(copy.database, None, "watcher", scope="metrics"))
    writer = ("shed", add_token(copy.database, copy.site, "shed"))
    assert copy.elsewhere.get("/metrics", auth=watcher).status_code == 200
    assert copy.elsewhere.get("/metrics", auth=writer).status_code == 401
    assert copy.elsewhere.get("/readyz", auth=watcher).json() == {"ready": True, "problems": []}


def test_whoever_guesses_is_made_to_wait(copy: Copy) -> None:
    watcher = ("watcher", add_token(copy.database, None, "watcher", scope="metrics"))
    for _ in range(6):
        assert copy.elsewhere.get("/metrics", auth=("watcher", "wrong")).status_code == 401
    assert copy.elsewhere.get("/metrics", auth=watcher).status_code == 401  # not even looked at


def test_without_the_database_it_answers_all_the_same(copy: Copy) -> None:
    watcher = ("watcher", add_token(copy.database, None, "watcher", scope="metrics"))
    copy.database.path.unlink()
    assert copy.here.get("/metrics").status_code == 200
    assert copy.elsewhere.get("/readyz", auth=watcher).json() == {"ready": True}
