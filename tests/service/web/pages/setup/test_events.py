from contextlib import closing
from datetime import UTC, datetime

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.events import Event, events_of
from joulebook.storage.record_results import record_mark
from tests.helpers.forms import fields_on, send
from tests.helpers.pages import NOW_MS, Studio, outline, words_of

_PAGE = "/sites/studio/setup/events"
_DAY = "/sites/studio/days/2026-03-03"
_PANELS = {
    "title": "Four more panels",
    "kind": "panels",
    "at": "2026-03-03T16:30",
    "note": "East roof, 4 of 410 W.",
}


def there(studio: Studio) -> list[Event]:
    with closing(studio.database.connect()) as connection:
        return events_of(connection, studio.site.id, removed=True)


def test_a_change_is_noted_in_the_owner_s_words(heard: Studio) -> None:
    assert "No change is noted yet." in words_of(heard.client.get(_PAGE).text)
    with closing(heard.database.connect()) as connection:
        before = record_mark(connection, heard.site.id)
    answer = send(heard.client, _PAGE, _PANELS)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{_PAGE}?done=noted")
    (event,) = there(heard)
    assert (event.kind, event.title, event.note) == (
        "panels",
        "Four more panels",
        "East roof, 4 of 410 W.",
    )
    assert event.at_ms == round(datetime(2026, 3, 3, 16, 30, tzinfo=UTC).timestamp() * 1000)
    with closing(heard.database.connect()) as connection:
        (noted,) = audit_log(connection)
        assert record_mark(connection, heard.site.id) > before  # it is analysed anew
    assert (noted.action, noted.detail) == (
        "add event",
        "panels, 2026-03-03 16:30: Four more panels",
    )
    html = heard.client.get(f"{_PAGE}?done=noted").text
    assert "1 change is noted." in words_of(html)
    assert "Before and after it are not mixed" in words_of(html)
    assert {"href": _DAY} in outline(html).named("a")


def test_without_a_time_it_was_just_now(heard: Studio) -> None:
    send(heard.client, _PAGE, {"title": "Firmware 4.2", "kind": "firmware", "at": ""})
    assert there(heard)[0].at_ms == NOW_MS
    words = words_of(heard.client.get(_PAGE).text)
    assert "The zero of the current sensor is found anew from there on." in words


@pytest.mark.parametrize(
    ("entered", "fault"),
    [
        ({"title": " "}, "What was changed : This is needed."),
        ({"title": "x" * 81}, "What was changed : This has 81 characters"),
        ({"title": "Panels", "at": "2026-03-05T00:00"}, "When : The event is dated before 2015"),
        ({"title": "Panels", "at": "2014-12-31T00:00"}, "When : The event is dated before 2015"),
        ({"title": "Panels", "at": "noon"}, "When : A date and a time"),
        ({"title": "Panels", "note": "x" * 2001}, "Note : This has 2001 characters"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_written_stays(
    heard: Studio, entered: dict[str, str], fault: str
) -> None:
    answer = send(heard.client, _PAGE, entered)
    assert answer.status_code == 422
    assert fault in words_of(answer.text)
    fields = fields_on(answer.text, _PAGE)
    assert {name: fields[name] for name in entered} == entered
    assert there(heard) == []


def test_one_that_never_happened_is_taken_back_and_stays_on_record(heard: Studio) -> None:
    send(heard.client, _PAGE, _PANELS)
    number = there(heard)[0].id
    answer = send(heard.client, _PAGE, action=f"{_PAGE}/{number}/remove")
    assert answer.headers["location"] == f"{_PAGE}?done=removed"
    assert there(heard)[0].removed_ms == NOW_MS
    words = words_of(heard.client.get(f"{_PAGE}?done=removed").text)
    assert "No change is noted yet." in words
    assert "Four more panels of 3 March 2026 16:30 WET, taken back on" in words
    with closing(heard.database.connect()) as connection:
        assert audit_log(connection)[0].action == "remove event"
    again = heard.client.post(f"{_PAGE}/{number}/remove", data={"sure": "yes"})
    assert again.status_code == 400


def test_from_the_page_of_a_day_it_leads_back_to_the_day(heard: Studio) -> None:
    page = heard.client.get(_DAY).text
    assert fields_on(page, _PAGE)["at"] == "2026-03-03T12:00"
    answer = send(heard.client, _DAY, {"title": "Lugs tightened"}, action=_PAGE)
    assert answer.headers["location"] == f"{_DAY}?done=noted"
    words = words_of(heard.client.get(f"{_DAY}?done=noted").text)
    assert "Done. It is noted" in words
    assert "Lugs tightened 3 March 2026 12:00 WET, something else" in words


def test_on_today_s_page_it_was_just_now(heard: Studio) -> None:
    page = heard.client.get("/sites/studio/days/2026-03-04").text
    assert fields_on(page, _PAGE)["at"] == "2026-03-04T12:00"


def test_a_fault_from_the_page_of_a_day_keeps_the_way_back(heard: Studio) -> None:
    answer = send(heard.client, _DAY, {"title": ""}, action=_PAGE)
    assert answer.status_code == 422
    again = fields_on(answer.text, _PAGE) | {"title": "Lugs tightened"}
    assert heard.client.post(_PAGE, data=again).headers["location"] == f"{_DAY}?done=noted"


def test_a_viewer_sees_them_and_cannot_note_one(heard: Studio, seen: Studio) -> None:
    send(heard.client, _PAGE, _PANELS)
    for page in (_PAGE, _DAY):
        html = seen.client.get(page).text
        assert "Four more panels" in words_of(html)
        assert f'action="{_PAGE}' not in html
    assert seen.client.post(_PAGE, data=_PANELS).status_code == 403
    remove = f"{_PAGE}/{there(heard)[0].id}/remove"
    assert seen.client.post(remove, data={"sure": "yes"}).status_code == 403
    assert there(heard)[0].removed_ms is None
