from contextlib import closing
from datetime import UTC, datetime

import pytest

from joulebook.core.corrections import Correction
from joulebook.storage.audit import audit_log
from joulebook.storage.corrections import corrections_of
from joulebook.storage.days import dirty_count
from tests.helpers.forms import fields_on, send
from tests.helpers.pages import NOW_MS, Studio, outline, words_of

_PAGE = "/sites/studio/setup/corrections"
_DOUBLED = {
    "series": "battery/power",
    "kind": "scale",
    "value": "2,5",
    "from": "2026-03-04T00:00",
    "note": "one clamp of two",
}


def there(studio: Studio) -> list[Correction]:
    with closing(studio.database.connect()) as connection:
        return corrections_of(connection, studio.site.id, withdrawn=True)


def made(studio: Studio, **fields: str) -> None:
    preview = send(studio.client, _PAGE, {**_DOUBLED, **fields})
    sent = _press(preview.text)
    assert studio.client.post(_PAGE, data=sent).status_code == 303


def _press(html: str) -> dict[str, str]:
    """Return what the button below the preview sends."""
    before, _, after = html.partition('<form class="press"')
    assert "preview" in before
    return fields_on(f'<form class="press"{after.partition("</form>")[0]}</form>', _PAGE)


def test_before_it_is_made_it_says_what_it_does_and_changes_nothing(heard: Studio) -> None:
    answer = heard.client.get(_PAGE)
    assert "Nothing is corrected." in words_of(answer.text)
    preview = send(heard.client, _PAGE, _DOUBLED)
    assert preview.status_code == 200
    words = words_of(preview.text)
    assert "This is what it would do." in words
    assert (
        "Readings from 4 March 2026 00:00 WET on of battery power are multiplied by 2.5." in words
    )
    # By hand: 400 W times 2.5. Its first reading reaches into 3 March, five minutes back.
    assert "The newest reading, 400 W, would count as 1.00 kW." in words
    assert "2 days are computed anew." in words
    assert there(heard) == []
    with closing(heard.database.connect()) as connection:
        assert dirty_count(connection) == 0


def test_once_seen_it_is_made_and_noted(heard: Studio) -> None:
    made(heard)
    (correction,) = there(heard)
    begins_ms = round(datetime(2026, 3, 4, tzinfo=UTC).timestamp() * 1000)
    assert correction == Correction(
        id=correction.id,
        device="battery",
        quantity="power",
        kind="scale",
        value=2.5,
        from_ms=begins_ms,
        note="one clamp of two",
        made_ms=NOW_MS,
    )
    with closing(heard.database.connect()) as connection:
        assert dirty_count(connection) == 2
        (noted,) = audit_log(connection)
    assert noted.action == "add correction"
    assert noted.detail.endswith("battery power are multiplied by 2.5.")
    words = words_of(heard.client.get(f"{_PAGE}?done=made").text)
    assert "1 correction in force." in words
    assert "one clamp of two" in words


def test_a_withdrawn_one_stays_on_record(heard: Studio) -> None:
    made(heard)
    number = there(heard)[0].id
    answer = send(heard.client, _PAGE, action=f"{_PAGE}/{number}/withdraw")
    assert answer.headers["location"] == f"{_PAGE}?done=withdrawn"
    assert there(heard)[0].withdrawn_ms == NOW_MS
    words = words_of(heard.client.get(f"{_PAGE}?done=withdrawn").text)
    assert "Nothing is corrected." in words
    assert "Withdrawn All" not in words
    assert "withdrawn on 4 March 2026 12:00 WET." in words
    with closing(heard.database.connect()) as connection:
        assert [each.action for each in audit_log(connection)] == [
            "withdraw correction",
            "add correction",
        ]
    assert heard.client.post(f"{_PAGE}/{number}/withdraw", data={"sure": "yes"}).status_code == 400
    assert heard.client.post(f"{_PAGE}/99/withdraw", data={"sure": "yes"}).status_code == 400


@pytest.mark.parametrize(
    ("entered", "fault"),
    [
        ({"kind": "scale"}, "Factor or amount : A scale correction needs a value."),
        ({"kind": "sign", "value": "2"}, "Factor or amount : A sign correction has no value."),
        ({"kind": "offset", "value": "much"}, "Factor or amount : A number from -1e+09 to 1e+09."),
        ({"from": "2026-03-04T10:00", "to": "2026-03-04T09:00"}, "Up to : The correction ends"),
        ({"from": "soon"}, "From : A date and a time"),
        ({"series": "battery/charge_energy"}, "What to do with them : Battery/charge_energy is"),
        ({"note": "x" * 501}, "Why : This has 501 characters; 500 are the most."),
    ],
)
def test_what_is_wrong_is_said_beside_its_field(
    heard: Studio, entered: dict[str, str], fault: str
) -> None:
    answer = send(heard.client, _PAGE, entered)
    assert answer.status_code == 422
    assert fault in words_of(answer.text)
    fields = fields_on(answer.text, _PAGE)
    assert {name: fields[name] for name in entered} == entered
    assert there(heard) == []


def test_a_series_that_is_not_there_is_refused(heard: Studio) -> None:
    sent = fields_on(heard.client.get(_PAGE).text, _PAGE) | {"series": "moon/power"}
    answer = heard.client.post(_PAGE, data=sent)
    assert answer.status_code == 422
    assert "Which readings : The site has no series of numbers moon/power." in words_of(answer.text)


def test_the_same_twice_is_refused_above_the_form(heard: Studio) -> None:
    made(heard)
    answer = send(heard.client, _PAGE, _DOUBLED)
    assert answer.status_code == 422
    assert "says the same already" in words_of(answer.text)


def test_only_series_of_numbers_are_offered(heard: Studio) -> None:
    page = outline(heard.client.get(_PAGE).text)
    offered = [each["value"] for each in page.named("option")]
    assert "kiln/heat" in offered
    assert not {"kiln/door", "kiln/state"} & set(offered)


def test_without_readings_there_is_nothing_to_correct(empty: Studio) -> None:
    assert "no readings yet that could be corrected" in words_of(empty.client.get(_PAGE).text)


def test_a_viewer_sees_them_and_cannot_change_them(heard: Studio, seen: Studio) -> None:
    made(heard)
    html = seen.client.get(_PAGE).text
    assert "multiplied by 2.5" in words_of(html)
    assert 'class="form"' not in html
    assert 'class="press"' not in html
    assert seen.client.post(_PAGE, data=_DOUBLED | {"step": "make"}).status_code == 403
    assert (
        seen.client.post(f"{_PAGE}/{there(heard)[0].id}/withdraw", data={"sure": "yes"}).status_code
        == 403
    )
    assert len(there(heard)) == 1
