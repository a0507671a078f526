from contextlib import closing
from dataclasses import replace
from typing import NoReturn

import pytest
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families as parsed

from joulebook.storage.database import Database
from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.quarantine import put_aside
from joulebook.storage.records import Refused
from joulebook.web.access.actor import NOBODY, Actor
from joulebook.web.access.knowing import HOUSE, Knowing
from joulebook.web.access.who import Asked
from joulebook.web.watch.health import Health
from tests.helpers.pages import Studio, client_of

AWAY = Health(ready=False, problems=("day 2026-07-14 of site studio is not computed",))


def client_as(actor: Actor, studio: Studio, monkeypatch: pytest.MonkeyPatch) -> TestClient:
    monkeypatch.setattr(Knowing, "who", lambda *_: Asked(actor))
    return client_of(studio.database, health=lambda: AWAY)


def test_alive_is_alive_whatever_else_is(empty: Studio) -> None:
    client = client_of(empty.database, health=lambda: AWAY)
    assert client.get("/healthz").json() == {"status": "alive"}


@pytest.mark.parametrize(
    ("actor", "knows"),
    [
        (NOBODY, False),
        (HOUSE, True),
        (replace(NOBODY, watches=True), True),  # from this machine, or a token for metrics
        (Actor(name="Ada", kind="person", everywhere="viewer"), True),
        (Actor(name="Ben", kind="person", at={1: "owner"}), False),  # problems name other sites
        (Actor(name="a link", kind="share", at={1: "viewer"}), False),
    ],
)
def test_why_it_is_not_ready_is_told_to_those_who_may_know(
    actor: Actor, knows: bool, empty: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer = client_as(actor, empty, monkeypatch).get("/readyz")
    problems = {"problems": list(AWAY.problems)} if knows else {}
    assert answer.status_code == 503
    assert answer.json() == {"ready": False, **problems}
    assert answer.headers["cache-control"] == "no-store"


def test_ready_is_ready(empty: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Knowing, "who", lambda *_: Asked(HOUSE))
    answer = empty.client.get("/readyz")
    assert (answer.status_code, answer.json()) == (200, {"ready": True, "problems": []})


def test_it_answers_when_nobody_can_be_looked_up(
    empty: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    def away(*_: object) -> Actor:
        raise StorageUnavailableError("the disk is gone", where="", expected="", next_step="")

    monkeypatch.setattr(Knowing, "who", away)
    client = client_of(empty.database, health=lambda: AWAY)
    assert client.get("/readyz").json() == {"ready": False}
    assert client.get("/sites/studio").status_code == 503


def test_metrics_come_as_the_text_format(empty: Studio, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Knowing, "who", lambda *_: Asked(HOUSE))
    answer = empty.client.get("/metrics")
    # Prometheus documentation, "Text-based format": the content type.
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    build = next(iter(parsed(answer.text)))
    assert (build.name, build.samples[0].labels) == ("joulebook_build_info", {"version": "1.2.3"})


def test_metrics_tell_of_what_is_set_aside_and_come_without_a_database_too(
    empty: Studio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Knowing, "who", lambda *_: Asked(HOUSE))
    refused = Refused(
        site_id=None,
        source="shed",
        topic="x",
        payload=b"?",
        reason="topic-invalid",
        detail="none",
        received_ms=1,
    )
    with closing(empty.database.connect()) as connection:
        put_aside(connection, [refused])
    sample = 'joulebook_set_aside_messages{reason="topic-invalid"} 1'
    assert sample in empty.client.get("/metrics").text

    def away(_database: Database) -> NoReturn:
        raise StorageUnavailableError(
            "the disk is away", where="it", expected="a disk", next_step="look for it"
        )

    monkeypatch.setattr(Database, "connect", away)
    answer = empty.client.get("/metrics")
    assert (answer.status_code, sample in answer.text) == (200, False)
