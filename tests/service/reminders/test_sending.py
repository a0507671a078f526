"""Messages through the real apprise, in its own process, to a real mail server and webhook."""

import io
import json
import subprocess
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.reminders import sender
from joulebook.reminders.sending import address_trouble, by_apprise, send_due
from joulebook.storage.alert_settings import add_channel, remove_channel
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection, Database
from joulebook.storage.deliveries import (
    PAUSES_S,
    Delivery,
    Told,
    begin_sending,
    deliveries_of,
    due_deliveries,
    note_cut_short,
    put_delivery,
)
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, studio
from tests.helpers.message_servers import mail_server, webhook

HOT = Told(about="episode 1 opened", title="studio: The battery is hot", body="It is at 46 °C.\n")
LETTER = Told(
    about="letter 2026-W10", title="The week", body="All well.\n", html="<p>All well.</p>"
)


@pytest.fixture
def house(tmp_path: Path) -> tuple[Database, Site]:
    return studio(tmp_path)


def put(
    connection: Connection, site: Site, url: str, *told: Told, not_before_ms: int = NOON_MS
) -> int:
    channel = add_channel(connection, site, label="mine", url=url, made_ms=NOON_MS)
    with transaction(connection):
        for each in told:
            put_delivery(connection, channel.id, each, now_ms=NOON_MS, not_before_ms=not_before_ms)
    return channel.id


def states(connection: Connection, site: Site) -> list[tuple[str, str, int]]:
    return [
        (each.told.about, each.state, each.tries) for each in deliveries_of(connection, site.id)
    ]


def taken(deliveries: Sequence[Delivery]) -> list[str | None]:
    return [None] * len(deliveries)


def test_a_webhook_gets_title_and_text_and_nothing_twice(house: tuple[Database, Site]) -> None:
    database, site = house
    with webhook() as hook, closing(database.connect()) as connection:
        put(connection, site, hook.url, HOT)
        assert send_due(connection, by_apprise, now_ms=NOON_MS) == 1
        assert send_due(connection, by_apprise, now_ms=NOON_MS + 60_000) == 0
        assert [(one["title"], one["message"].strip()) for one in hook.posted] == [
            ("studio: The battery is hot", "It is at 46 °C."),
        ]
        assert states(connection, site) == [("episode 1 opened", "delivered", 1)]


def test_mail_gets_the_letter_as_html_and_as_plain_text(house: tuple[Database, Site]) -> None:
    database, site = house
    with mail_server() as server, closing(database.connect()) as connection:
        put(connection, site, server.url, LETTER, HOT)
        assert send_due(connection, by_apprise, now_ms=NOON_MS) == 2
        letter, alert = server.mails
    assert letter["Subject"] == "The week"
    assert letter["To"] == "owner@studio.example"
    kinds = {part.get_content_type(): part for part in letter.walk()}
    assert "<p>All well.</p>" in kinds["text/html"].get_content()
    assert "All well." in kinds["text/plain"].get_content()
    assert "It is at 46 °C." in str(alert.get_body(("plain",)).get_content())  # type: ignore[union-attr]  # it has one


def test_a_service_that_refuses_is_asked_again_with_growing_pauses(
    house: tuple[Database, Site],
) -> None:
    database, site = house
    with webhook() as hook, closing(database.connect()) as connection:
        hook.statuses = [503]
        put(connection, site, hook.url, HOT)
        assert send_due(connection, by_apprise, now_ms=NOON_MS) == 0
        [refused] = deliveries_of(connection, site.id)
        assert (refused.state, refused.trouble) == ("waiting", "the service answered 503")
        assert refused.next_ms == NOON_MS + 1000 * PAUSES_S[0]
        assert send_due(connection, by_apprise, now_ms=NOON_MS + 59_000) == 0
        assert send_due(connection, by_apprise, now_ms=NOON_MS + 60_000) == 1
        assert len(hook.posted) == 1


def test_after_the_last_pause_it_is_given_up(house: tuple[Database, Site]) -> None:
    database, site = house
    with closing(database.connect()) as connection:
        put(connection, site, "json://127.0.0.1:9/hook", HOT)
        now_ms = NOON_MS
        for _ in range(len(PAUSES_S) + 3):
            send_due(connection, lambda due: ["no"] * len(due), now_ms=now_ms)
            now_ms += 25 * 3_600_000
        assert states(connection, site) == [("episode 1 opened", "given-up", len(PAUSES_S) + 1)]


def test_what_was_under_way_when_the_service_ended_is_not_sent_again(
    house: tuple[Database, Site],
) -> None:
    database, site = house

    def killed(_due: Sequence[Delivery]) -> list[str | None]:
        raise KeyboardInterrupt

    with closing(database.connect()) as connection:
        put(connection, site, "json://127.0.0.1:9/hook", HOT)
        with pytest.raises(KeyboardInterrupt):
            send_due(connection, killed, now_ms=NOON_MS)
    with closing(database.connect()) as connection:
        assert note_cut_short(connection) == 1
        assert send_due(connection, taken, now_ms=NOON_MS + 10**9) == 0
        assert states(connection, site) == [("episode 1 opened", "unknown", 1)]
        assert note_cut_short(connection) == 0


def test_two_that_send_at_once_do_not_send_the_same(house: tuple[Database, Site]) -> None:
    database, site = house
    with closing(database.connect()) as one, closing(database.connect()) as other:
        put(one, site, "json://127.0.0.1:9/hook", HOT)
        [due] = due_deliveries(one, now_ms=NOON_MS, most=5)
        assert begin_sending(one, due)
        assert not begin_sending(other, due)
        assert due_deliveries(other, now_ms=NOON_MS, most=5) == []


def test_the_same_thing_is_put_there_once_and_waits_for_its_time(
    house: tuple[Database, Site],
) -> None:
    database, site = house
    with closing(database.connect()) as connection:
        channel = put(connection, site, "json://h/x", HOT, not_before_ms=NOON_MS + 5000)
        with transaction(connection):
            assert not put_delivery(
                connection, channel, HOT, now_ms=NOON_MS + 9, not_before_ms=NOON_MS
            )
        assert send_due(connection, taken, now_ms=NOON_MS + 4999) == 0
        assert send_due(connection, taken, now_ms=NOON_MS + 5000) == 1


def test_a_removed_channel_gets_nothing_more_and_its_address_is_gone(
    house: tuple[Database, Site],
) -> None:
    database, site = house
    with closing(database.connect()) as connection:
        channel = put(connection, site, "json://user:secret@h/x", HOT)
        remove_channel(connection, site, channel, now_ms=NOON_MS)
        assert send_due(connection, taken, now_ms=NOON_MS) == 0
        assert states(connection, site) == [("episode 1 opened", "given-up", 0)]
        urls = connection.execute("SELECT url FROM alert_channels").fetchall()
    assert urls == [("",)]


def test_an_address_is_tried_without_sending() -> None:
    assert address_trouble("json://127.0.0.1:9/hook") is None
    assert address_trouble("kiln") == "the address is not one that can be used"


def test_neither_a_channel_nor_a_delivery_shows_its_address(house: tuple[Database, Site]) -> None:
    database, site = house
    with closing(database.connect()) as connection:
        channel = add_channel(
            connection, site, label="mine", url="json://user:secret@h/x", made_ms=NOON_MS
        )
        with transaction(connection):
            put_delivery(connection, channel.id, HOT, now_ms=NOON_MS, not_before_ms=NOON_MS)
        [due] = due_deliveries(connection, now_ms=NOON_MS, most=5)
    assert due.url == "json://user:secret@h/x"
    assert "secret" not in f"{channel!r} {due!r}"


@pytest.mark.parametrize(
    ("fault", "trouble"),
    [
        (subprocess.TimeoutExpired("x", 120), "no answer within 120 s"),
        (subprocess.CalledProcessError(1, "x"), "the process that sends ended badly"),
    ],
)
def test_a_process_that_fails_costs_a_try(
    house: tuple[Database, Site],
    monkeypatch: pytest.MonkeyPatch,
    fault: Exception,
    trouble: str,
) -> None:
    def run(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(subprocess, "run", run)
    database, site = house
    with closing(database.connect()) as connection:
        put(connection, site, "json://h/x", HOT)
        assert send_due(connection, by_apprise, now_ms=NOON_MS) == 0
        [refused] = deliveries_of(connection, site.id)
    assert refused.trouble == trouble


# apprise asks for a module that Python 3.13 no longer has, and makes do without it there.
@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")
def test_the_sender_itself_in_this_process(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with webhook() as hook:
        hook.statuses = [200, 500]
        message = {"url": hook.url, "title": "a", "body": "b", "html": None}
        asked = [message, message, {"url": "kiln"}, {"url": hook.url}]
        gone = message | {"url": "json://127.0.0.1:9/x"}
        monkeypatch.setattr("sys.stdin", io.StringIO(json.dumps([*asked, gone])))
        assert sender.main() == 0
    assert json.loads(capsys.readouterr().out) == [
        None,
        "the service answered 500",
        sender.NO_ADDRESS,
        None,
        "the service did not take it",
    ]
    assert sender.takes_html("mailtos://a:b@c")
    assert not sender.takes_html("json://a")
    with mail_server() as server:
        letter = {"url": server.url, "title": "a", "body": "b", "html": "<b>b</b>"}
        assert sender.trouble_of(letter) is None
