import hashlib
import json
from contextlib import closing
from datetime import date

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.records import Column
from joulebook.storage.sign_offs import SignOff, sign_offs_of
from joulebook.storage.site_facts import change_facts
from tests.helpers.databases import write
from tests.helpers.forms import fields_on, send
from tests.helpers.pages import NOW_MS, Studio, client_of, outline, words_of

_PAGE = "/sites/studio/setup/sign-off"


def there(studio: Studio) -> list[SignOff]:
    with closing(studio.database.connect()) as connection:
        return sign_offs_of(connection, studio.site.id)


def signed(studio: Studio, **entered: str) -> SignOff:
    fields = fields_on(studio.client.get(_PAGE).text, _PAGE)
    remarks = {name: "seen" for name in fields if name.startswith("remark.")}
    answer = send(studio.client, _PAGE, {**remarks, "name": "Ana Moura", **entered})
    assert answer.status_code == 303, words_of(answer.text)
    return there(studio)[-1]


def test_it_says_what_the_checks_say_and_asks_of_what_they_could_not_tell(heard: Studio) -> None:
    html = heard.client.get(_PAGE).text
    words = words_of(html)
    checks = heard.client.get("/api/v1/sites/studio/checks").json()["checks"]
    counts = {
        verdict: sum(each["verdict"] == verdict for each in checks)
        for verdict in ("trouble", "good", "unclear")
    }
    assert all(counts.values())  # the helper's hourly readings give some of each
    told = ", ".join(f"{count} {verdict}" for verdict, count in counts.items())
    assert f"The checks say now: {told}." in words
    asked = [name for name in fields_on(html, _PAGE) if name.startswith("remark.")]
    assert len(asked) == counts["trouble"] + counts["unclear"]
    assert "qualified person, locked out, by local codes" in words
    assert "They do not show that wiring is safe or keeps to code" in words
    page = outline(heard.client.get("/sites/studio/checks").text)
    assert {"class": "step", "href": _PAGE} in page.named("a")


def test_the_whole_checks_document_is_kept_with_name_role_and_remarks(heard: Studio) -> None:
    checks = heard.client.get("/api/v1/sites/studio/checks").json()
    made = signed(heard, role="installer", statement="Looked at together with the owner.")
    assert (made.at_ms, made.who, made.name, made.role) == (
        NOW_MS,
        "this machine",
        "Ana Moura",
        "installer",
    )
    content = json.loads(made.document)
    assert content["checks"] == checks
    assert content["checks"]["method"] == checks["method"]
    assert content["statement"] == "Looked at together with the owner."
    assert set(content["remarks"].values()) == {"seen"}
    assert content["facts"]["battery_ah"] == 200.0
    assert (content["joulebook"], content["form"]) == ("1.2.3", "commissioning-record-1")
    assert made.sha256 == hashlib.sha256(made.document.encode()).hexdigest()
    with closing(heard.database.connect()) as connection:
        (noted,) = audit_log(connection)
    assert (noted.action, noted.site) == ("sign off", "studio")
    assert noted.detail.startswith("Ana Moura, installer: ")


def test_it_prints_what_was_signed_with_its_hash_and_the_cautions(heard: Studio) -> None:
    made = signed(heard, role="installer")
    answer = heard.client.get(f"{_PAGE}/{made.id}?done=signed")
    words = words_of(answer.text)
    assert f"Commissioning record {made.id} of the studio" in words
    assert "Signed on 4 March 2026 12:00 WET by Ana Moura, installer." in words
    assert "Rated charge 200 Ah" in words
    assert "Remark: seen" in words
    assert made.sha256 in words
    assert "hold energy that kills" in words
    assert "Method checks-" in words
    assert "all is as it was signed" in words
    for check in json.loads(made.document)["checks"]["checks"]:
        assert check["sentence"][1:] in words
    listed = words_of(heard.client.get(_PAGE).text)
    assert "4 March 2026 12:00 WET Ana Moura, installer" in listed


def test_a_later_look_says_what_is_not_as_it_was_signed(heard: Studio) -> None:
    made = signed(heard)
    with closing(heard.database.connect()) as connection:
        change_facts(connection, heard.site, battery_ah=180.0, installed=date(2025, 1, 15))
    later = client_of(heard.database, now_ms=NOW_MS + 3_600_000)
    events = "/sites/studio/setup/events"
    assert send(later, events, {"title": "Firmware 4.2", "kind": "firmware"}).status_code == 303
    words = words_of(later.get(f"{_PAGE}/{made.id}").text)
    assert "Looked at again on 4 March 2026 13:00 WET, this is not as it was signed:" in words
    assert "Rated charge: 200 Ah, now 180 Ah." in words
    assert "Battery first ran on: nothing, now 15 January 2025." in words
    assert "Noted since: Firmware 4.2 (firmware)." in words
    # And what was signed says what it said.
    assert "Rated charge 200 Ah" in words


def test_nobody_signs_what_he_has_not_seen(heard: Studio) -> None:
    sent = fields_on(heard.client.get(_PAGE).text, _PAGE)
    sent |= {name: "seen" for name in sent if name.startswith("remark.")} | {"name": "Ana"}
    with closing(heard.database.connect()) as connection:
        rows = {NOW_MS - 1000: {"power": 1.0}}
        write(connection, heard.site, "grid", rows, (Column("power", "W"),))
    later = client_of(heard.database, now_ms=NOW_MS + 60_000)
    answer = later.post(_PAGE, data=sent)
    assert answer.status_code == 422
    assert "The checks say something else than when you opened the page" in words_of(answer.text)
    assert there(heard) == []


def test_of_each_trouble_something_is_said(heard: Studio) -> None:
    answer = send(heard.client, _PAGE, {"name": "Ana"})
    assert answer.status_code == 422
    words = words_of(answer.text)
    assert "Does it keep talking? : This is needed." in words
    assert "is needed" not in words.partition("What could not tell")[2]
    assert there(heard) == []


@pytest.mark.parametrize(
    ("entered", "fault"),
    [
        ({"name": ""}, "Name : This is needed."),
        ({"name": "Ana\tMoura"}, "Name : Nobody signs."),
        ({"statement": "x" * 1001}, "Anything to add : This has 1001 characters"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_written_stays(
    heard: Studio, entered: dict[str, str], fault: str
) -> None:
    fields = fields_on(heard.client.get(_PAGE).text, _PAGE)
    remarks = {name: "seen" for name in fields if name.startswith("remark.")}
    answer = send(heard.client, _PAGE, {**remarks, "name": "Ana", **entered})
    assert answer.status_code == 422
    assert fault in words_of(answer.text)
    again = fields_on(answer.text, _PAGE)
    assert {name: again[name] for name in remarks} == remarks
    assert "<details open>" in answer.text  # what was said of unclear ones is not hidden
    assert there(heard) == []


def test_a_site_that_heard_nothing_has_nothing_to_sign(empty: Studio) -> None:
    html = empty.client.get(_PAGE).text
    assert "There is nothing to sign yet" in words_of(html)
    assert f'action="{_PAGE}"' not in html
    answer = empty.client.post(_PAGE, data={"name": "Ana"})
    assert answer.status_code == 422
    assert "no check was made, since nothing was heard" in words_of(answer.text)
    assert there(empty) == []


def test_a_number_that_is_not_there_leads_to_the_list(heard: Studio) -> None:
    answer = heard.client.get(f"{_PAGE}/9", headers={"accept": "text/html"})
    assert answer.status_code == 404
    assert "Site studio has no sign-off 9" in words_of(answer.text)


def test_a_document_that_was_tampered_with_says_so(heard: Studio) -> None:
    made = signed(heard)
    with closing(heard.database.connect()) as connection:
        connection.execute("DROP TRIGGER sign_offs_stay_as_they_are")
        connection.execute(
            "UPDATE sign_offs SET document = replace(document, 'Ana Moura', 'Ana Mouro')"
        )
    words = words_of(heard.client.get(f"{_PAGE}/{made.id}").text)
    assert "This record was tampered with" in words


def test_a_viewer_sees_what_was_signed_and_signs_nothing(heard: Studio, seen: Studio) -> None:
    made = signed(heard)
    html = seen.client.get(_PAGE).text
    assert "Ana Moura" in words_of(html)
    assert f'action="{_PAGE}"' not in html
    assert seen.client.get(f"{_PAGE}/{made.id}").status_code == 200
    assert seen.client.post(_PAGE, data={"name": "Rui"}).status_code == 403
    assert len(there(heard)) == 1
