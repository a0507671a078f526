from contextlib import closing

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.tariffs import TariffVersion, tariffs_of
from tests.helpers.forms import fields_on, send
from tests.helpers.pages import Studio, words_of

_PAGE = "/sites/studio/setup/tariff"
_SIMPLE = {
    "currency": "EUR",
    "from": "2026-01-01",
    "import": "0.31",
    "fixed_per_month": "11.50",
    "note": "contract, page 2",
}


def there(studio: Studio) -> list[TariffVersion]:
    with closing(studio.database.connect()) as connection:
        return tariffs_of(connection, studio.site.id, withdrawn=True)


def test_a_tariff_is_entered(heard: Studio) -> None:
    assert "No tariff was entered yet" in words_of(heard.client.get(_PAGE).text)
    answer = send(heard.client, _PAGE, _SIMPLE)
    assert (answer.status_code, answer.headers["location"]) == (303, f"{_PAGE}?done=added")
    [version] = there(heard)
    assert (version.tariff.currency, version.note) == ("EUR", "contract, page 2")
    text = words_of(heard.client.get(f"{_PAGE}?done=added").text)
    assert "The tariff is kept." in text
    assert "A tariff holds from 1 January 2026 on." in text
    assert "EUR a kWh; fixed 0 a day and 11.50 a month" in text
    assert "00:00 to 24:00, every day All year 0.31 0" in text
    with closing(heard.database.connect()) as connection:
        (noted,) = audit_log(connection)
    assert (noted.action, noted.detail) == ("add tariff", "1: from 2026-01-01, EUR")


def test_the_next_one_begins_with_what_the_last_one_says(heard: Studio) -> None:
    send(heard.client, _PAGE, _SIMPLE)
    fields = fields_on(heard.client.get(_PAGE).text, _PAGE)
    assert (fields["currency"], fields["fixed_per_month"]) == ("EUR", "11.50")
    assert fields["from"] == "2026-03-04"
    send(heard.client, _PAGE, {"from": "2026-03-04", "import": "0.35"})
    assert [str(each.tariff.from_day) for each in there(heard)] == ["2026-01-01", "2026-03-04"]
    text = words_of(heard.client.get(_PAGE).text)
    assert "From 1 January 2026 to the day before 4 March 2026" in text


def test_rows_of_hours_and_seasons(heard: Studio) -> None:
    row = {
        "r1_from": "14:00",
        "r1_to": "20:00",
        "r1_days": "weekdays",
        "r1_import": "0.50",
        "r1_first": "06-01",
        "r1_last": "09-30",
        "listed_dates": "2026-07-03",
    }
    assert send(heard.client, _PAGE, _SIMPLE | row).status_code == 303
    text = words_of(heard.client.get(_PAGE).text)
    assert "14:00 to 20:00, weekdays 1 Jun to 30 Sep 0.50 0" in text
    assert "Listed dates: 3 Jul 2026." in text


def test_a_form_can_have_more_rows_and_keeps_what_was_written(heard: Studio) -> None:
    sent = fields_on(heard.client.get(_PAGE).text, _PAGE)
    pressed = sent | _SIMPLE | {"more": "yes", "r1_from": "22:00"}
    answer = heard.client.post(_PAGE, data=pressed, headers={"accept": "text/html"})
    assert answer.status_code == 200
    fields = fields_on(answer.text, _PAGE)
    assert (fields["rows"], fields["r1_from"], fields["r4_from"]) == ("4", "22:00", "")
    assert "<details open" in answer.text
    assert there(heard) == []


@pytest.mark.parametrize(
    ("entered", "fault"),
    [
        ({"import": ""}, "A kWh bought costs : This is needed."),
        ({"from": "soon"}, "First day : A date as"),
        ({"note": "x" * 501}, "Note : This has 501 characters"),
        ({"r1_from": "7", "r1_import": "1"}, "Row 1, from : A quarter of an hour"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_written_stays(
    heard: Studio, entered: dict[str, str], fault: str
) -> None:
    answer = send(heard.client, _PAGE, _SIMPLE | entered)
    assert answer.status_code == 422
    assert fault in words_of(answer.text)
    fields = fields_on(answer.text, _PAGE)
    assert {name: fields[name] for name in entered} == entered
    assert there(heard) == []


def test_two_cannot_begin_on_one_day(heard: Studio) -> None:
    send(heard.client, _PAGE, _SIMPLE)
    answer = send(heard.client, _PAGE, _SIMPLE)
    assert answer.status_code == 422
    assert "First day : Tariff 1 begins on 2026-01-01 already" in words_of(answer.text)


def test_one_that_was_wrong_is_withdrawn_and_stays_on_record(heard: Studio) -> None:
    send(heard.client, _PAGE, _SIMPLE)
    answer = send(heard.client, _PAGE, action=f"{_PAGE}/1/withdraw")
    assert (answer.status_code, answer.headers["location"]) == (303, f"{_PAGE}?done=withdrawn")
    [version] = there(heard)
    assert version.withdrawn_ms is not None
    text = words_of(heard.client.get(f"{_PAGE}?done=withdrawn").text)
    assert "That it was entered stays on record." in text
    assert "From 1 January 2026, EUR withdrawn on 4 March 2026" in text
    assert "No tariff was entered yet" in text


def test_a_viewer_cannot_open_it(seen: Studio) -> None:
    assert seen.client.get(_PAGE).status_code == 403
