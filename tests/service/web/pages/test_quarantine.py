from contextlib import closing

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.database import transaction
from joulebook.storage.quarantine import QuarantineRoom, put_aside
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Refused
from joulebook.web.pages.quarantine import shown_payload
from tests.helpers.pages import NOW_MS, Studio, outline, words_of

ROOM = QuarantineRoom(messages=60, bytes=1_000_000)


def refused_at(studio: Studio, payload: bytes) -> Refused:
    return Refused(
        site_id=studio.site.id,
        source="garage",
        topic="joulebook/v1/studio/battery",
        payload=payload,
        reason="time-ahead",
        detail="power is dated 2033; expected at most 10 minutes ahead",
        received_ms=NOW_MS,
    )


def set_aside(studio: Studio, count: int, *, times: int = 1, room: QuarantineRoom = ROOM) -> None:
    refused = [refused_at(studio, f"<b>{number}</b>".encode()) for number in range(count)]
    with closing(studio.database.connect()) as connection, transaction(connection):
        for _ in range(times):
            put_aside(connection, refused, of_a_site=room)


def words(studio: Studio, query: str = "") -> str:
    return words_of(studio.client.get(f"/sites/studio/quarantine{query}").text)


def test_nothing_set_aside_is_good_news(empty: Studio) -> None:
    assert "Nothing was set aside: all that came in could be kept." in words(empty)


def test_one_message_with_its_reason_and_what_to_do(empty: Studio) -> None:
    set_aside(empty, 1)
    text = words(empty)
    assert "1 message could not be stored as it came." in text
    assert "Dated ahead power is dated 2033; expected at most 10 minutes ahead" in text
    assert "Next: Set the clock of the bridge" in text
    assert "Last came 4 March 2026 12:00 WET How often once" in text


def test_a_repeat_is_counted(empty: Studio) -> None:
    set_aside(empty, 2, times=3)
    text = words(empty)
    assert "2 messages could not be stored as they came." in text
    assert "How often 3 times" in text


def test_what_was_let_go_for_want_of_room_is_counted(empty: Studio) -> None:
    set_aside(empty, 3, room=QuarantineRoom(messages=2, bytes=1_000_000))
    assert "Dated ahead: 1 message, no longer kept" in words(empty)
    assert "2 messages could not be stored" in words(empty)
    set_aside(empty, 3, room=QuarantineRoom(messages=2, bytes=1_000_000))
    assert "Dated ahead: 2 messages, no longer kept" in words(empty)


def test_what_a_sender_wrote_is_never_taken_as_html(empty: Studio) -> None:
    set_aside(empty, 1)
    page = outline(empty.client.get("/sites/studio/quarantine").text)
    assert "<b>0</b>" in page.text
    assert not page.named("b")


def test_every_page_of_the_site_shows_how_many(empty: Studio) -> None:
    set_aside(empty, 2)
    for path in ("", "/months", "/days/2026-03-04", "/quarantine"):
        page = outline(empty.client.get(f"/sites/studio{path}").text)
        assert {"class": "count"} in page.named("span")


def test_many_come_page_by_page(empty: Studio) -> None:
    set_aside(empty, 51)
    first = outline(empty.client.get("/sites/studio/quarantine").text)
    assert len(first.named("article")) == 50
    assert {"href": "/sites/studio/quarantine?page=2", "rel": "prev"} in first.named("a")
    second = outline(empty.client.get("/sites/studio/quarantine?page=2").text)
    assert len(second.named("article")) == 1
    assert {"href": "/sites/studio/quarantine?page=1", "rel": "next"} in second.named("a")
    assert "There is no page 3." in words(empty, "?page=3")


@pytest.mark.parametrize("page", ["0", "-1", "one", "1000000", "\u0661"])
def test_what_is_no_page(empty: Studio, page: str) -> None:
    answer = empty.client.get("/sites/studio/quarantine", params={"page": page})
    assert answer.status_code == 422
    assert answer.json()["where"] == "query parameter 'page'"


@pytest.mark.parametrize(
    ("payload", "shown"),
    [
        (b'[{"n":"power"}]', '[{"n":"power"}]'),
        (b"\x81\xff", "81 ff"),
        (b"a\x00b", "61 00 62"),
        (b'[\n\t{"n":"power"}\r\n]', '[\n\t{"n":"power"}\r\n]'),
        (b"\xff" * 250, "ff " * 239 + "ff \N{HORIZONTAL ELLIPSIS} (250 bytes)"),
        (b"x" * 250, "x" * 240 + " \N{HORIZONTAL ELLIPSIS} (250 bytes)"),
        ("\N{DEGREE SIGN}".encode() * 130, "\N{DEGREE SIGN}" * 130),
        (b"", ""),
    ],
)
def test_a_payload_is_shown_as_text_or_as_numbers(payload: bytes, shown: str) -> None:
    assert shown_payload(payload) == shown


def test_a_message_of_no_site_is_found_too(empty: Studio) -> None:
    set_aside(empty, 1)
    lost = Refused(
        site_id=None,
        source="broker",
        topic="joulebook/v1/nowhere",
        payload=b"{}",
        reason="topic-invalid",
        detail="the topic has no device",
        received_ms=NOW_MS,
    )
    with closing(empty.database.connect()) as connection, transaction(connection):
        put_aside(connection, [lost])
    page = outline(empty.client.get("/sites/studio/quarantine").text)
    assert "1 more was set aside for other sites, or for none that is known" in page.text
    assert {"class": "step", "href": "/quarantine"} in page.named("a")
    text = words_of(empty.client.get("/quarantine").text)
    assert "2 messages could not be stored as they came." in text
    assert "Not a topic of ours the topic has no device" in text
    assert "4 March 2026 12:00 UTC" in text


def test_a_button_tries_all_of_it_again(empty: Studio) -> None:
    at_s = NOW_MS // 1000 - 60
    good = f'[{{"n":"power","u":"W","v":1,"t":{at_s}}}]'.encode()
    set_aside(empty, 2)
    with closing(empty.database.connect()) as connection:
        put_aside(connection, [refused_at(empty, good)])
    assert "Try all of it again" in words(empty)
    tried = empty.client.post("/sites/studio/quarantine/again", data={"proof": ""})
    assert tried.status_code == 303
    text = words_of(empty.client.get(tried.headers["location"]).text)
    assert "Done. 1 message is stored now." in text
    assert "2 messages could not be stored as they came." in text
    with closing(empty.database.connect()) as connection:
        assert [each.value for each in latest_readings(connection, empty.site.id)] == [1.0]
        [noted] = audit_log(connection)
    assert (noted.site, noted.detail) == ("studio", "1 of 3 stored")
    assert "Done. Nothing of it can be stored yet." in words(empty, "?stored=0")
    assert "Done. 7 messages are stored now." in words(empty, "?stored=7")


def test_of_all_sites_nothing_is_tried_from_one_page(empty: Studio) -> None:
    set_aside(empty, 1)
    assert "Try all of it again" not in words_of(empty.client.get("/quarantine").text)
