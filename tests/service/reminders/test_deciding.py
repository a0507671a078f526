"""From values to episodes and messages: once, within quiet hours, as the owner set it."""

from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from joulebook.core.alerts.rules import BY_NAME
from joulebook.reminders.deciding import decide, limits_of
from joulebook.reminders.seen import Seen
from joulebook.storage.alert_settings import (
    AlertSettings,
    RuleSetting,
    add_channel,
    alert_settings,
    rule_settings,
    set_alert_settings,
    set_rules,
)
from joulebook.storage.alerts import episodes_of, watches_of
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Connection, Database
from joulebook.storage.deliveries import deliveries_of
from joulebook.storage.records import Site
from joulebook.storage.site_facts import change_facts
from tests.helpers.databases import studio

NOON_MS = round(datetime(2026, 7, 14, 12, tzinfo=UTC).timestamp() * 1000)
MINUTE_MS, HOUR_MS = 60_000, 3_600_000


@pytest.fixture
def house(tmp_path: Path) -> tuple[Database, Site]:
    return studio(tmp_path)


@pytest.fixture
def connection(house: tuple[Database, Site]) -> Iterator[Connection]:
    with closing(house[0].connect()) as connection:
        yield connection


@pytest.fixture
def site(house: tuple[Database, Site]) -> Site:
    return house[1]


def silent(minutes: float | None) -> Seen:
    return Seen(
        rule="bridge-silent", value=minutes, sentence=f"nothing was heard for {minutes} minutes"
    )


def changes(connection: Connection, site: Site, *values: tuple[int, Seen]) -> list[str]:
    return [
        happened.change
        for at_ms, seen in values
        for happened in decide(connection, site, [seen], now_ms=at_ms, address="https://a.example")
    ]


def test_an_episode_is_opened_told_and_closed_once_on_each_channel(
    connection: Connection, site: Site
) -> None:
    for label in ("mail", "hook"):
        add_channel(connection, site, label=label, url=f"json://{label}/x", made_ms=NOON_MS)
    told = changes(
        connection,
        site,
        (NOON_MS, silent(31.0)),
        (NOON_MS + MINUTE_MS, silent(32.0)),
        (NOON_MS + 2 * MINUTE_MS, silent(None)),
        (NOON_MS + HOUR_MS, silent(1.0)),
        (NOON_MS + 2 * HOUR_MS, silent(1.0)),
    )
    assert told == ["opened", "closed"]
    [episode] = episodes_of(connection, site.id)
    assert (episode.opened_ms, episode.closed_ms) == (NOON_MS, NOON_MS + HOUR_MS)
    deliveries = deliveries_of(connection, site.id)
    assert sorted((each.label, each.told.about) for each in deliveries) == [
        ("hook", f"episode {episode.id} closed"),
        ("hook", f"episode {episode.id} opened"),
        ("mail", f"episode {episode.id} closed"),
        ("mail", f"episode {episode.id} opened"),
    ]
    opened = deliveries[-1].told
    assert opened.title == "studio: Nothing is heard"
    assert "Nothing was heard for 31.0 minutes." in opened.body
    assert "Its working: https://a.example/sites/studio/checks" in opened.body
    assert deliveries[0].told.body.startswith("It is over: nothing was heard for 31.0 minutes.")


def test_a_caution_comes_with_what_is_dangerous_and_the_page_without_an_address(
    connection: Connection, site: Site
) -> None:
    add_channel(connection, site, label="mail", url="json://h/x", made_ms=NOON_MS)
    seen = Seen(rule="neutral", subject="grid", value=1.0, sentence="the legs part")
    decide(connection, site, [seen], now_ms=NOON_MS, address="")
    [delivery] = deliveries_of(connection, site.id)
    assert "Careful: A loose neutral can burn appliances" in delivery.told.body
    assert "Its working: the page /sites/studio/checks" in delivery.told.body


def test_at_night_it_waits_and_danger_does_not(connection: Connection, site: Site) -> None:
    add_channel(connection, site, label="mail", url="json://h/x", made_ms=NOON_MS)
    night_ms = NOON_MS + 11 * HOUR_MS  # midnight in Lisbon
    danger = Seen(rule="neutral", subject="grid", value=1.0, sentence="the legs part")
    decide(connection, site, [silent(31.0), danger], now_ms=night_ms, address="")
    waits = {each.told.title: each.next_ms for each in deliveries_of(connection, site.id)}
    assert waits["studio: Nothing is heard"] == night_ms + 7 * HOUR_MS
    assert waits["studio: The neutral seems loose"] == night_ms


def test_a_rule_that_is_off_opens_nothing_and_closes_without_a_word(
    connection: Connection, site: Site
) -> None:
    assert changes(connection, site, (NOON_MS, silent(31.0))) == ["opened"]
    set_rules(connection, site, {"bridge-silent": RuleSetting(is_on=False)})
    later = NOON_MS + HOUR_MS
    assert changes(connection, site, (later, silent(90.0)), (later + 1, silent(91.0))) == []
    [episode] = episodes_of(connection, site.id)
    assert episode.closed_ms == later
    assert not any(kept.watch.is_open for kept in watches_of(connection, site.id).values())


def test_limits_are_the_owners_else_the_terms_else_the_usual_ones(
    connection: Connection, site: Site
) -> None:
    hot = BY_NAME["hot-battery"]
    assert limits_of(hot, RuleSetting(), site).opens_at == 45.0
    change_facts(connection, site, charge_high_c=50.0, discharge_high_c=55.0)
    termed = site_named_again(connection, site)
    assert limits_of(hot, RuleSetting(), termed).opens_at == 50.0
    assert limits_of(hot, RuleSetting(opens_at=40.0), termed).closes_at == 37.0
    assert limits_of(BY_NAME["gap"], RuleSetting(), termed).opens_at == 10.0


def site_named_again(connection: Connection, site: Site) -> Site:
    (file,) = [row[2] for row in connection.execute("PRAGMA database_list") if row[1] == "main"]
    return site_named(Database(Path(file).parent), site.name)


def test_what_is_compared_with_its_least_is_remembered(connection: Connection, site: Site) -> None:
    for level in (4.0, 3.0, None, 5.0):
        seen = Seen(rule="lugs", subject="battery", value=None, level=level)
        decide(connection, site, [seen], now_ms=NOON_MS, address="")
    assert watches_of(connection, site.id)["lugs", "battery"].least == 3.0
    assert rule_settings(connection, site.id)["lugs"] == RuleSetting()


def test_settings_come_back_as_they_were_set(connection: Connection, site: Site) -> None:
    wanted = AlertSettings(
        quiet_from=None, quiet_to=None, dangerous_anyway=False, letter_day=6, letter_hour=18
    )
    set_alert_settings(connection, site, wanted)
    set_alert_settings(connection, site, wanted)
    assert alert_settings(connection, site.id) == wanted
