"""The watcher: a round after another, each site by itself, each letter once a week."""

from collections.abc import Sequence
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest

from joulebook.reminders import watcher as watching
from joulebook.reminders.seen import Seen
from joulebook.reminders.watcher import Watcher, note_looked
from joulebook.storage.alert_settings import AlertSettings, add_channel, set_alert_settings
from joulebook.storage.alerts import episodes_of
from joulebook.storage.catalogue import add_site
from joulebook.storage.connections import transaction
from joulebook.storage.database import Connection, Database
from joulebook.storage.deliveries import (
    Delivery,
    Told,
    begin_sending,
    deliveries_of,
    due_deliveries,
    put_delivery,
)
from joulebook.storage.faults import StorageUnavailableError
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.mqtt_inbox import wait_until

HOUR_MS, DAY_MS = 3_600_000, 86_400_000


class Post:
    """Takes every message and keeps its title."""

    def __init__(self) -> None:
        self.titles: list[str] = []

    def __call__(self, deliveries: Sequence[Delivery]) -> list[str | None]:
        self.titles += [each.told.title for each in deliveries]
        return [None] * len(deliveries)


class Clock:
    """A clock that is set."""

    def __init__(self, now_ms: int) -> None:
        self.now_ms = now_ms

    def __call__(self) -> int:
        return self.now_ms


@pytest.fixture
def house(tmp_path: Path) -> tuple[Database, Site]:
    """One reading of a battery at noon, and a channel without quiet hours."""
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 5.0}})
        add_channel(connection, site, label="mine", url="json://h/x", made_ms=NOON_MS)
        set_alert_settings(connection, site, AlertSettings(quiet_from=None, quiet_to=None))
    return database, site


def rounds(watcher: Watcher, count: int) -> tuple[str, ...]:
    """Let it do so many rounds, and return what failed in the last one."""
    watcher.start()
    try:
        for _ in range(count):
            wanted = watcher.counts().rounds + 1
            watcher.nudge()
            wait_until(partial(_has_done, watcher, wanted))
        return watcher.counts().failing
    finally:
        watcher.stop()


def _has_done(watcher: Watcher, rounds: int) -> bool:
    return watcher.counts().rounds >= rounds


def test_silence_is_told_once_and_its_end_too(house: tuple[Database, Site]) -> None:
    database, site = house
    post, clock = Post(), Clock(NOON_MS + HOUR_MS)
    watcher = Watcher(database, clock_ms=clock, send=post, every_s=3600.0)
    rounds(watcher, 2)
    assert post.titles == ["studio: Nothing is heard"]
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {clock.now_ms: {"power": 5.0}})
    rounds(watcher, 1)
    assert post.titles == ["studio: Nothing is heard", "studio: over: Nothing is heard"]
    counts = watcher.counts()
    assert (counts.opened, counts.closed, counts.told, counts.alive) == (1, 1, 2, False)
    assert counts.failing == ()


def test_a_demonstration_opens_alerts_and_tells_nobody(house: tuple[Database, Site]) -> None:
    database, site = house
    rounds(Watcher(database, clock_ms=Clock(NOON_MS + HOUR_MS), send=None, every_s=3600.0), 1)
    with closing(database.connect()) as connection:
        assert len(episodes_of(connection, site.id)) == 1
        [delivery] = deliveries_of(connection, site.id)
    assert delivery.state == "waiting"


def test_a_letter_is_sent_once_a_week_whatever_restarts(house: tuple[Database, Site]) -> None:
    database, site = house
    post, clock = Post(), Clock(NOON_MS)  # a Sunday, 12:00
    with closing(database.connect()) as connection:
        settings = AlertSettings(quiet_from=None, quiet_to=None, letter_day=6, letter_hour=12)
        set_alert_settings(connection, site, settings)
    for _ in range(2):
        rounds(Watcher(database, clock_ms=clock, send=post, every_s=3600.0), 2)
    assert post.titles == ["studio: the week to 2026-02-28"]
    clock.now_ms += 7 * DAY_MS
    rounds(Watcher(database, clock_ms=clock, send=post, every_s=3600.0), 2)
    assert [title for title in post.titles if "week" in title] == [
        "studio: the week to 2026-02-28",
        "studio: the week to 2026-03-07",
    ]


def test_what_was_under_way_at_the_last_end_is_said_to_be_unknown(
    house: tuple[Database, Site], caplog: pytest.LogCaptureFixture
) -> None:
    database, site = house
    told = Told(about="test 1", title="a", body="b")
    with closing(database.connect()) as connection:
        with transaction(connection):
            put_delivery(connection, 1, told, now_ms=NOON_MS, not_before_ms=NOON_MS)
        [due] = due_deliveries(connection, now_ms=NOON_MS, most=5)
        begin_sending(connection, due)
    post = Post()
    rounds(Watcher(database, clock_ms=Clock(NOON_MS), send=post, every_s=3600.0), 1)
    assert post.titles == []
    assert "1 messages were being sent when the service ended" in caplog.text
    with closing(database.connect()) as connection:
        assert deliveries_of(connection, site.id)[0].state == "unknown"


def test_what_takes_longer_is_looked_at_every_hour(
    house: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, _ = house
    looked: list[int] = []

    def look(*_: object, now_ms: int) -> list[Seen]:
        looked.append(now_ms)
        return []

    monkeypatch.setattr(watching, "seen_back", look)
    clock = Clock(NOON_MS)
    watcher = Watcher(database, clock_ms=clock, send=None, every_s=3600.0)
    rounds(watcher, 1)
    clock.now_ms += HOUR_MS - 1
    rounds(watcher, 1)
    clock.now_ms += 1
    rounds(watcher, 1)
    assert sorted(set(looked)) == [NOON_MS, NOON_MS + HOUR_MS]


AWAY = StorageUnavailableError(
    "the disk is away", where="disk", expected="one", next_step="mount it"
)


@pytest.mark.parametrize(
    ("fault", "said"),
    [(AWAY, "the disk is away"), (KeyError("a bug of ours"), "KeyError: 'a bug of ours'")],
    ids=["away", "bug"],
)
def test_one_site_that_cannot_be_looked_at_costs_no_other(
    house: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch, fault: Exception, said: str
) -> None:
    database, site = house
    add_site(database, "annex", "UTC")  # comes first by its name

    def away(_database: Database, _: object, site: Site, *_more: object, **_at: int) -> list[Seen]:
        if site.name == "annex":
            raise fault
        return []

    monkeypatch.setattr(watching, "seen_back", away)
    watcher = Watcher(database, clock_ms=Clock(NOON_MS + HOUR_MS), send=None, every_s=3600.0)
    assert rounds(watcher, 1) == (f"nobody can be reminded: {said}",)
    with closing(database.connect()) as connection:
        assert len(episodes_of(connection, site.id)) == 1


def test_a_stop_ends_it_between_two_sites(house: tuple[Database, Site]) -> None:
    database, _ = house
    watcher = Watcher(database, clock_ms=Clock(NOON_MS), send=None, every_s=3600.0)
    watcher._round()  # in this thread, which is not its own: as one that was replaced
    assert watcher.rounds.alive is False


def test_of_many_sites_some_wait_for_a_later_round_with_what_takes_long(
    house: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, _ = house
    for number in range(3):
        add_site(database, f"annexe-{number}", "Europe/Lisbon")
    looked: list[str] = []

    def slow(
        _database: Database, _connection: object, site: Site, *_: object, **__: object
    ) -> list[Seen]:
        looked.append(site.name)
        spent[0] += 0.6 * watching.BACK_SHARE_S
        return []

    spent = [0.0]
    monkeypatch.setattr(watching, "seen_back", slow)
    monkeypatch.setattr("joulebook.reminders.watcher.time.perf_counter", lambda: spent[0])
    watcher = Watcher(database, clock_ms=(clock := Clock(NOON_MS)), send=None, every_s=3600.0)
    watcher.start()
    wait_until(partial(_has_done, watcher, 1))
    assert looked == ["annexe-0", "annexe-1"]
    watcher.nudge()
    wait_until(partial(_has_done, watcher, 2))
    assert looked[2:] == ["annexe-2", "studio"]
    # An hour later all are due again, those first that have waited longest.
    clock.now_ms += 2 * HOUR_MS
    watcher.stop()
    watcher.start()
    wait_until(partial(_has_done, watcher, 3))
    watcher.stop()
    assert looked[4:] == ["annexe-0", "annexe-1"]
    # Another service on the same database goes on with those that are left, and then is done.
    other = Watcher(database, clock_ms=clock, send=None, every_s=3600.0)
    rounds(other, 2)
    assert looked[6:] == ["annexe-2", "studio"]


def test_what_another_service_looked_at_meanwhile_is_left_to_it(
    house: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = house
    looked: list[str] = []

    def first(
        _database: Database, connection: Connection, at: Site, *_: object, **__: object
    ) -> list[Seen]:
        looked.append(at.name)
        note_looked(connection, site, now_ms=NOON_MS)  # as the other one does, just now
        return []

    add_site(database, "annexe", "Europe/Lisbon")
    monkeypatch.setattr(watching, "seen_back", first)
    rounds(Watcher(database, clock_ms=Clock(NOON_MS), send=None, every_s=3600.0), 1)
    assert looked == ["annexe"]
