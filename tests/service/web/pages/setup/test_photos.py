"""Photos of an event: added, seen and deleted on its page, and shown in the list of events."""

from contextlib import closing
from io import BytesIO

import pytest
from httpx2 import Response
from PIL import Image

from joulebook.storage.audit import audit_log
from joulebook.storage.event_photos import EventPhoto, add_photo, photos_of
from joulebook.storage.events import Event, add_event, remove_event
from tests.helpers.forms import fields_on, send
from tests.helpers.pages import NOW_MS, Studio, outline, words_of
from tests.helpers.photos import CAMERA, drawn, phone_photo, small_picture
from tests.helpers.visitors import opened_door

_EVENTS = "/sites/studio/setup/events"
_HTML = {"accept": "text/html"}


@pytest.fixture
def event(heard: Studio) -> Event:
    lugs = Event(
        id=0, at_ms=NOW_MS, kind="wiring", title="Lugs tightened", note="6 Nm", made_ms=NOW_MS
    )
    with closing(heard.database.connect()) as connection:
        return add_event(connection, heard.site, lugs)


@pytest.fixture
def page(event: Event) -> str:
    return f"{_EVENTS}/{event.id}/photos"


def sent(
    studio: Studio, page: str, photo: bytes | None, caption: str = "The lugs, tightened"
) -> Response:
    """Fill in the form of a page and send it as a browser does."""
    opened = studio.client.get(page, headers=_HTML)
    fields = fields_on(opened.text, page)
    assert set(fields) == {"proof", "caption", "photo"}
    texts = {"proof": fields["proof"], "caption": caption}
    file = ("", b"") if photo is None else ("IMG_1.JPG", photo)
    return studio.client.post(page, data=texts, files={"photo": file}, headers=_HTML)


def there(studio: Studio) -> list[EventPhoto]:
    with closing(studio.database.connect()) as connection:
        return [each for few in photos_of(connection, studio.site.id).values() for each in few]


def test_a_photo_is_added_and_seen_without_what_the_phone_wrote(
    heard: Studio, event: Event, page: str
) -> None:
    before = words_of(heard.client.get(page).text)
    assert "There is no photo of it yet." in before
    assert "Caution. Open no box for a photo." in before
    answer = sent(heard, page, phone_photo(drawn(2000, 1000), turned=6))
    assert (answer.status_code, answer.headers["location"]) == (303, f"{page}?done=added")
    (photo,) = there(heard)
    assert (photo.event_id, photo.caption) == (event.id, "The lugs, tightened")
    assert (photo.width, photo.height, photo.made_ms) == (800, 1600, NOW_MS)
    html = heard.client.get(f"{page}?done=added").text
    words = words_of(html)
    assert "There is one photo of it." in words
    assert "Done. The photo is kept" in words
    assert "The lugs, tightened Added on 4 March 2026 12:00 WET." in words
    full = f"{page}/{photo.id}/full.jpg"
    shown = {"src": full, "alt": "The lugs, tightened", "width": "800", "height": "1600"}
    assert shown in outline(html).named("img")
    image = heard.client.get(full)
    assert Image.open(BytesIO(image.content)).size == (800, 1600)
    assert CAMERA.encode() not in image.content
    with closing(heard.database.connect()) as connection:
        (noted,) = audit_log(connection)
    detail = f"Lugs tightened: The lugs, tightened (SHA-256 {photo.sha256[:12]}…)"
    assert (noted.action, noted.detail) == ("add photo", detail)


def test_the_list_of_events_has_small_ones(heard: Studio, event: Event, page: str) -> None:
    assert "Photos are deleted with the event" not in words_of(heard.client.get(_EVENTS).text)
    sent(heard, page, phone_photo())
    (photo,) = there(heard)
    html = heard.client.get(_EVENTS).text
    (image,) = [each for each in outline(html).named("img") if each["alt"]]
    assert image["src"] == f"{page}/{photo.id}/small.jpg"
    assert (image["alt"], image["loading"]) == ("The lugs, tightened", "lazy")
    assert {"href": f"{page}#photo-{photo.id}"} in outline(html).named("a")
    assert "Photos are deleted with the event" in words_of(html)
    small = heard.client.get(image["src"] or "")
    assert Image.open(BytesIO(small.content)).size == (320, 240)
    send(heard.client, _EVENTS, action=f"{_EVENTS}/{event.id}/remove")
    assert there(heard) == []
    assert heard.client.get(image["src"] or "").status_code == 404


@pytest.mark.parametrize("size", ["full", "small"])
def test_a_picture_is_of_its_type_and_asked_for_anew_each_time(
    heard: Studio, page: str, size: str
) -> None:
    sent(heard, page, phone_photo())
    address = f"{page}/{there(heard)[0].id}/{size}.jpg"
    answer = heard.client.get(address)
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.headers["cache-control"] == "private, no-cache"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    name = f'inline; filename="studio-1-{there(heard)[0].id}.jpg"'
    assert answer.headers["content-disposition"] == name
    assert "content-encoding" not in answer.headers
    # RFC 9110 §13.1.2: what did not change is not sent again.
    same = heard.client.get(address, headers={"If-None-Match": answer.headers["etag"]})
    assert (same.status_code, same.content) == (304, b"")
    assert same.headers["etag"] == answer.headers["etag"]
    other = heard.client.get(address, headers={"If-None-Match": '"another"'})
    assert other.content == answer.content


@pytest.mark.parametrize(
    ("photo", "caption", "fault"),
    [
        (None, "The roof", "Photo : A file is needed: choose one."),
        (b"no photo", "The roof", "Photo : The file is no photo that can be read here."),
        (bytes(9 * 1024 * 1024), "The roof", "Photo : The photo has 9 MB. Expected: at most 8 MB."),
        (phone_photo(), " ", "What it shows : This is needed."),
        (phone_photo(), "x" * 121, "What it shows : This has 121 characters"),
        (phone_photo(), "a\u2028b", "What it shows : It is not said what the photo shows."),
    ],
)
def test_what_is_wrong_is_said_and_what_was_written_stays(
    heard: Studio, page: str, photo: bytes | None, caption: str, fault: str
) -> None:
    answer = sent(heard, page, photo, caption)
    assert answer.status_code == 422
    assert fault in words_of(answer.text)
    assert fields_on(answer.text, page)["caption"] == caption
    assert there(heard) == []


def test_one_that_is_far_too_large_is_turned_away_at_the_door(heard: Studio, page: str) -> None:
    answer = sent(heard, page, bytes(16 * 1024 * 1024))
    assert answer.status_code == 413
    words = words_of(answer.text)
    assert "The content is longer than 16777216 bytes." in words
    assert "of a photo, a smaller one" in words


def test_a_fifth_one_has_no_place(heard: Studio, event: Event, page: str) -> None:
    opened = heard.client.get(page, headers=_HTML)
    with closing(heard.database.connect()) as connection:
        for shade in range(4):
            add_photo(
                *(connection, heard.site, event, small_picture(shade)), caption="x", now_ms=NOW_MS
            )
    html = heard.client.get(page).text
    assert "There are 4 photos of it." in words_of(html)
    assert "Remove one of the 4 first." in words_of(html)
    assert 'type="file"' not in html
    assert "Add a photo" not in words_of(heard.client.get(_EVENTS).text)
    # Whoever opened the page before there were four.
    texts = fields_on(opened.text, page) | {"caption": "The fifth"}
    del texts["photo"]
    answer = heard.client.post(page, data=texts, files={"photo": phone_photo()}, headers=_HTML)
    assert answer.status_code == 422
    assert "The event has 4 photos. Expected: at most 4." in words_of(answer.text)
    assert len(there(heard)) == 4


def test_an_event_that_was_taken_back_meanwhile_takes_none(
    heard: Studio, event: Event, page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(_sent: bytes) -> object:
        with closing(heard.database.connect()) as connection:
            remove_event(connection, heard.site, event.id, now_ms=NOW_MS)
        return small_picture()

    monkeypatch.setattr("joulebook.storage.pictures.taken_in", slow)
    answer = sent(heard, page, phone_photo())
    assert answer.status_code == 404
    assert f"has no event {event.id}" in answer.text
    assert there(heard) == []


def test_one_is_deleted_for_good(heard: Studio, page: str) -> None:
    sent(heard, page, phone_photo())
    (photo,) = there(heard)
    answer = send(heard.client, page, action=f"{page}/{photo.id}/remove")
    assert answer.headers["location"] == f"{page}?done=removed"
    assert there(heard) == []
    words = words_of(heard.client.get(f"{page}?done=removed").text)
    assert "Backups and evidence files of before still hold it." in words
    with closing(heard.database.connect()) as connection:
        assert audit_log(connection)[0].action == "remove photo"
    again = heard.client.post(f"{page}/{photo.id}/remove", data={"sure": "yes"})
    assert again.status_code == 404


@pytest.mark.parametrize(
    "below",
    ["99/photos", "0/photos", "99/photos/1/full.jpg", "1/photos/99/full.jpg", f"{10**30}/photos"],
)
def test_what_is_not_there_is_not_found(heard: Studio, page: str, below: str) -> None:
    assert page == f"{_EVENTS}/1/photos"
    answer = heard.client.get(f"{_EVENTS}/{below}", headers=_HTML)
    assert answer.status_code == 404
    assert "go back to the events" in words_of(answer.text)


def test_a_viewer_sees_them_and_changes_none(heard: Studio, seen: Studio, page: str) -> None:
    sent(heard, page, phone_photo())
    (photo,) = there(heard)
    for below in ("", f"/{photo.id}/full.jpg", f"/{photo.id}/small.jpg"):
        assert seen.client.get(page + below).status_code == 200
    html = seen.client.get(page).text
    assert "The lugs, tightened" in words_of(html)
    assert "<form" not in html.split("<main")[1].split("</main>")[0]
    assert f"{page}/{photo.id}/small.jpg" in seen.client.get(_EVENTS).text
    added = seen.client.post(page, data={"caption": "x"}, files={"photo": phone_photo()})
    removed = seen.client.post(f"{page}/{photo.id}/remove", data={"sure": "yes"})
    assert (added.status_code, removed.status_code) == (403, 403)
    assert there(heard) == [photo]


def test_who_may_not_see_the_site_sees_no_photo_of_it(
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    door = opened_door(tmp_path_factory.mktemp("door"))
    lugs = Event(id=0, at_ms=NOW_MS, kind="wiring", title="Lugs tightened", made_ms=NOW_MS)
    with closing(door.database.connect()) as connection:
        event = add_event(connection, door.studio, lugs)
        photo = add_photo(
            *(connection, door.studio, event, small_picture()), caption="Lugs", now_ms=NOW_MS
        )
    image = f"{_EVENTS}/{event.id}/photos/{photo.id}/full.jpg"
    elsewhere = image.replace("studio", "barn")
    # Cleo looks at the studio, Dan at the barn, Eve at both.
    for name, own, other in (("Cleo", 200, 404), ("Dan", 404, 404), ("Eve", 200, 404)):
        client = door.signed_in(name).client
        assert client.get(image).status_code == own
        assert client.get(elsewhere).status_code == other
    assert door.browser().get(image).status_code in (303, 401)
    assert door.program(door.token("tool", "read", door.studio)).get(image).status_code == 401
    door.database.close()


def test_a_photo_of_another_page_s_making_is_not_taken(heard: Studio, page: str) -> None:
    answer = heard.client.post(
        page,
        data={"caption": "x"},
        files={"photo": phone_photo()},
        headers={"Origin": "http://elsewhere.example"},
    )
    assert answer.status_code == 403
    assert there(heard) == []
