from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database
from tests.helpers.forms import fields_on, send
from tests.helpers.pages import Studio, client_of, outline, words_of

_PAGE = "/setup/new-site"


def test_the_first_site_begins_at_the_home_page(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    client = client_of(database)
    assert {"class": "step", "href": _PAGE} in outline(client.get("/").text).named("a")
    zones = [each["value"] for each in outline(client.get(_PAGE).text).named("option")]
    assert {"America/Chicago", "Europe/Lisbon"} <= set(zones)
    assert "EST5EDT" not in zones  # a bare offset, and no place
    entered = {"name": "home", "timezone": "America/Chicago", "battery_ah": "280"}
    answer = send(client, _PAGE, entered)
    assert (answer.status_code, answer.headers["location"]) == (303, "/sites/home/setup?done=added")
    (made,) = sites(database)
    assert (made.name, made.timezone, made.battery_ah) == ("home", "America/Chicago", 280.0)
    assert made.battery_cells is None
    with closing(database.connect()) as connection:
        (noted,) = audit_log(connection)
    assert (noted.action, noted.site, noted.detail) == ("add site", "home", "zone America/Chicago")


def test_the_second_one_begins_at_the_setup_of_the_first(heard: Studio) -> None:
    send(heard.client, _PAGE, {"name": "annexe", "timezone": "Pacific/Apia"})
    assert {"class": "step", "href": _PAGE} in outline(heard.client.get("/").text).named("a")
    assert "The site is there." in words_of(heard.client.get("/sites/annexe/setup?done=added").text)


@pytest.mark.parametrize(
    ("entered", "fault"),
    [
        ({"name": "", "timezone": "UTC"}, "Name : This is needed."),
        ({"name": "home"}, "Time zone : This is needed."),
        ({"name": "My home", "timezone": "UTC"}, "Name : 'My home' cannot be the name of a site."),
        ({"name": "studio", "timezone": "UTC"}, "Name : There is a site 'studio' already."),
        ({"name": "home", "timezone": "Mars/Base"}, "Time zone : Unknown time zone 'Mars/Base'."),
        ({"name": "home", "timezone": "UTC", "battery_ah": "x"}, "Rated charge : A number"),
    ],
)
def test_what_is_wrong_is_said_and_no_site_is_made(
    heard: Studio, entered: dict[str, str], fault: str
) -> None:
    answer = send(heard.client, _PAGE, entered)
    assert answer.status_code == 422
    assert fault in words_of(answer.text)
    fields = fields_on(answer.text, _PAGE)
    assert {name: fields[name] for name in entered} == entered
    assert [site.name for site in sites(heard.database)] == ["studio"]


def test_whoever_may_not_run_the_house_adds_none(seen: Studio) -> None:
    assert seen.client.get(_PAGE).status_code == 403
    assert seen.client.post(_PAGE, data={"name": "home", "timezone": "UTC"}).status_code == 403
    assert [site.name for site in sites(seen.database)] == ["studio"]
