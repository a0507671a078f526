"""What was said of one site, said of another: once, whole, and without undoing what is there."""

from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from joulebook.core.money.tariff_text import document_of
from joulebook.errors import UsageError
from joulebook.storage.alert_settings import (
    AlertSettings,
    RuleSetting,
    set_alert_settings,
    set_rules,
)
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.corrections import add_correction, corrections_of
from joulebook.storage.database import Connection, Database
from joulebook.storage.deep_tests import deep_tests_of
from joulebook.storage.event_photos import photos_of
from joulebook.storage.events import events_of, remove_event
from joulebook.storage.records import Site
from joulebook.storage.said import Said, SaidTariff, said_of
from joulebook.storage.said_adding import SaidCounts, add_said
from joulebook.storage.site_facts import change_facts
from joulebook.storage.tariffs import TariffVersion, add_tariff, tariffs_of
from tests.helpers.databases import NOON_MS, write
from tests.helpers.priced import two_bands
from tests.helpers.said_studio import said_studio

ALL_NEW = {
    "facts": 4,
    "events": 2,
    "corrections": 2,
    "tariffs": 2,
    "deep_tests": 2,
    "sign_offs": 1,
    "alerts": 2,
    "photos": 2,
}


@pytest.fixture
def said(tmp_path: Path) -> Said:
    database, studio = said_studio(tmp_path / "house")
    with closing(database.connect()) as connection:
        return said_of(connection, studio)


@pytest.fixture
def annexe(database: Database, connection: Connection) -> Site:
    """Another site, which has readings of the same series and of which nothing was said."""
    made = add_site(database, "annexe", "Europe/Lisbon")
    write(connection, made, "battery", {NOON_MS: {"power": 1.0}})
    return made


def again(database: Database, connection: Connection) -> Said:
    """What is said of the annexe now, under the studio's name and numbers, to compare."""
    return replace(said_of(connection, site_named(database, "annexe")), site="studio")


def numbered(said: Said) -> Said:
    return replace(
        said,
        events=[replace(one, id=0) for one in said.events],
        corrections=[replace(one, id=0) for one in said.corrections],
        deep_tests=[replace(one, id=0) for one in said.deep_tests],
        sign_offs=[replace(one, id=0) for one in said.sign_offs],
        photos=[
            replace(one, event=[each.id for each in said.events].index(one.event))
            for one in said.photos
        ],
    )


def test_all_of_it_is_said_again_and_a_second_time_nothing_is_new(
    said: Said, database: Database, connection: Connection, annexe: Site
) -> None:
    assert add_said(connection, annexe, said) == SaidCounts(ALL_NEW, [])
    assert numbered(again(database, connection)) == numbered(said)
    now = site_named(database, "annexe")
    assert add_said(connection, now, said) == SaidCounts(dict.fromkeys(ALL_NEW, 0), [])
    assert numbered(again(database, connection)) == numbered(said)
    [signed] = said.sign_offs
    assert signed.is_whole


def test_what_was_taken_back_later_is_taken_back_here_too(
    said: Said, connection: Connection, annexe: Site
) -> None:
    before = replace(
        said,
        facts={},
        events=[replace(one, removed_ms=None) for one in said.events],
        corrections=[replace(said.corrections[0], withdrawn_ms=None)],
        tariffs=[replace(said.tariffs[0], withdrawn_ms=None)],
        deep_tests=[replace(said.deep_tests[0], started_ms=None, ended_ms=None)],
        photos=[],
    )
    add_said(connection, annexe, before)
    counts = add_said(connection, annexe, replace(said, facts={}))
    one_more = {"corrections": 1, "tariffs": 1, "deep_tests": 1, "photos": 2}
    assert counts.new == dict.fromkeys(ALL_NEW, 0) | one_more
    assert [one.title for one in events_of(connection, annexe.id)] == ["new leads"]
    assert [one.kind for one in corrections_of(connection, annexe.id)] == ["sign"]
    assert [one.note for one in tariffs_of(connection, annexe.id)] == [""]
    assert [one.ended_ms for one in deep_tests_of(connection, annexe.id)] == [NOON_MS + 20, None]


def test_what_is_otherwise_here_stays_and_is_told(
    said: Said, database: Database, connection: Connection, annexe: Site
) -> None:
    change_facts(connection, annexe, battery_ah=200.0)
    set_alert_settings(connection, annexe, AlertSettings(letter_day=0, letter_hour=7))
    set_rules(connection, annexe, {"gap": RuleSetting(opens_at=9.0)})
    counts = add_said(connection, site_named(database, "annexe"), said)
    assert counts.differs == [
        "battery_ah: 200.0 here, 280.0 there",
        "quiet hours or the letter",
        "rule gap",
    ]
    assert (counts.new["facts"], counts.new["alerts"]) == (3, 0)
    now = again(database, connection)
    assert now.facts["battery_ah"] == 200.0
    assert now.alerts.settings == AlertSettings(letter_day=0, letter_hour=7)
    assert now.alerts.rules == {"gap": RuleSetting(opens_at=9.0)}


def test_photos_of_an_event_that_was_taken_back_here_stay_away(
    said: Said, connection: Connection, annexe: Site
) -> None:
    add_said(connection, annexe, replace(said, facts={}, photos=said.photos[:1]))
    leads = events_of(connection, annexe.id)[0]
    remove_event(connection, annexe, leads.id, now_ms=NOON_MS + 90)
    counts = add_said(connection, annexe, replace(said, facts={}))
    assert counts.new["photos"] == 0
    assert counts.differs == ["a photo of new leads: the event was taken back here"] * 2
    assert photos_of(connection, annexe.id) == {}


def test_what_was_said_here_at_another_time_does_not_act_twice(
    said: Said, connection: Connection, annexe: Site
) -> None:
    turned = replace(said.corrections[1], made_ms=NOON_MS + 77, note="seen here too")
    add_correction(connection, annexe, turned)
    tariff = two_bands(fixed_per_month="11.50")
    add_tariff(connection, annexe, TariffVersion(id=0, tariff=tariff, note="here", made_ms=NOON_MS))
    only = replace(said, corrections=said.corrections[1:], tariffs=said.tariffs[1:])
    counts = add_said(connection, annexe, only)
    assert (counts.new["corrections"], counts.new["tariffs"]) == (0, 0)
    assert [one.note for one in corrections_of(connection, annexe.id)] == ["seen here too"]
    assert [one.note for one in tariffs_of(connection, annexe.id)] == ["here"]


def test_settings_as_they_come_change_none(
    said: Said, connection: Connection, annexe: Site
) -> None:
    chosen = AlertSettings(letter_day=0, letter_hour=7)
    set_alert_settings(connection, annexe, chosen)
    plain = replace(said, alerts=replace(said.alerts, settings=AlertSettings(), rules={}))
    assert add_said(connection, annexe, plain).differs == []


SAME_DAY = SaidTariff(
    terms=document_of(two_bands(fixed_per_month="1")), note="", made_ms=NOON_MS, withdrawn_ms=None
)


@pytest.mark.parametrize(
    ("bend", "told"),
    [
        (lambda said: replace(said, timezone="UTC"), "it was said of a site in UTC"),
        (
            lambda said: replace(said, tariffs=[*said.tariffs, SAME_DAY]),
            "begins on 2020-01-01 already",
        ),
        (
            lambda said: replace(
                said, corrections=[replace(said.corrections[0], device="battery-9")]
            ),
            "no series of numbers battery-9/power",
        ),
        (
            lambda said: replace(
                said, alerts=replace(said.alerts, rules={"x": RuleSetting(is_on=False)})
            ),
            "there is no rule 'x'",
        ),
        (
            lambda said: replace(said, sign_offs=[replace(said.sign_offs[0], name="Rui")]),
            "is not as it was signed",
        ),
        (
            lambda said: replace(
                said, sign_offs=[replace(said.sign_offs[0], document='{"site":"other"}')]
            ),
            "is not as it was signed",
        ),
    ],
    ids=["zone", "tariff", "series", "rule", "name", "document"],
)
def test_a_contradiction_stops_all_of_it(
    said: Said,
    database: Database,
    connection: Connection,
    annexe: Site,
    bend: Callable[[Said], Said],
    told: str,
) -> None:
    before = again(database, connection)
    with pytest.raises(UsageError, match=told):
        add_said(connection, annexe, bend(said))
    assert again(database, connection) == before


def test_a_rule_that_is_unknown_and_as_it_comes_is_told(
    said: Said, connection: Connection, annexe: Site
) -> None:
    bent = replace(said, alerts=replace(said.alerts, rules={"x": RuleSetting()}))
    assert add_said(connection, annexe, bent).differs == ["rule x"]
