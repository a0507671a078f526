"""What was set aside, tried again once the reason is gone: stored whole, or left as it was."""

from collections.abc import Sequence
from contextlib import closing

import pytest

from joulebook.ingest import trying_again
from joulebook.ingest.committer import Committer
from joulebook.ingest.decode import Decoder
from joulebook.ingest.mapping.file import MAPPINGS
from joulebook.ingest.message import Message
from joulebook.ingest.outcomes import Decoded
from joulebook.ingest.trying_again import TriedAgain, try_again
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.quarantine import SetAside, quarantined, set_aside
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Site
from tests.helpers.packs import NOW_MS, VOLTAGE, message

HOUR_MS = 3_600_000
MAPPING = """
[[mapping]]
topic = "kiln/+/meter"
site = "studio"
device = "load-{1}"

  [[mapping.reading]]
  quantity = "power"
  pointer = "/watts"
  unit = "W"
"""


def commit(database: Database, *messages: Message) -> None:
    with closing(Committer(database)) as committer:
        committer.commit(messages)


def again(database: Database, site: Site | None, now_ms: int = NOW_MS) -> TriedAgain:
    return try_again(database, None if site is None else site.id, clock_ms=lambda: now_ms)


def kept(database: Database) -> list[str]:
    with closing(database.connect()) as connection:
        return sorted(each.refused.reason for each in quarantined(connection, None))


def sizes(database: Database) -> Sequence[SetAside]:
    with closing(database.connect()) as connection:
        return set_aside(connection, None)


def newest(database: Database, site: Site) -> list[tuple[str, int, object]]:
    with closing(database.connect()) as connection:
        found = latest_readings(connection, site.id)
    return [(each.series.quantity, each.at_ms, each.value) for each in found]


def test_readings_that_were_ahead_of_a_clock_that_was_behind_are_stored_once_it_is_right(
    home: tuple[Database, Site],
) -> None:
    database, site = home
    true_s = NOW_MS // 1000 + 3600
    commit(database, message([VOLTAGE | {"t": true_s}]))  # received by a clock an hour behind
    assert kept(database) == ["time-ahead"]
    assert again(database, site) == TriedAgain(1, 0)  # it is still behind
    assert kept(database) == ["time-ahead"]
    assert again(database, site, NOW_MS + HOUR_MS) == TriedAgain(1, 1)
    assert newest(database, site) == [("voltage", 1000 * true_s, 53.1)]
    # It is no longer set aside, and was not let go.
    assert sizes(database) == [SetAside(reason="time-ahead", kept=0, kept_bytes=0, let_go=0)]
    assert again(database, site, NOW_MS + HOUR_MS) == TriedAgain(0, 0)


def test_a_message_for_a_site_that_is_added_later_keeps_its_time_of_receipt(
    home: tuple[Database, Site],
) -> None:
    database, _ = home
    commit(database, message([VOLTAGE], site="barn", bound=False))
    assert kept(database) == ["site-unknown"]
    barn = add_site(database, "barn", "Europe/Lisbon")
    # Kept of no site, so it is not among those of one.
    assert again(database, barn, NOW_MS + HOUR_MS) == TriedAgain(0, 0)
    assert again(database, None, NOW_MS + HOUR_MS) == TriedAgain(1, 1)
    assert newest(database, barn) == [("voltage", NOW_MS, 53.1)]


def test_a_topic_that_a_mapping_file_explains_later(home: tuple[Database, Site]) -> None:
    database, site = home
    commit(database, Message("kiln/1/meter", b'{"watts": 900}', NOW_MS, "broker", None, None))
    assert kept(database) == ["topic-invalid"]
    assert again(database, None) == TriedAgain(1, 0)
    (database.data_dir / MAPPINGS).mkdir()
    (database.data_dir / MAPPINGS / "kiln.toml").write_text(MAPPING, encoding="utf-8")
    assert again(database, None) == TriedAgain(1, 1)
    assert newest(database, site) == [("power", NOW_MS, 900.0)]


def test_what_is_only_partly_good_and_what_is_not_allowed_stay(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trying_again, "AT_ONCE", 2)
    database, site = home
    add_site(database, "barn", "Europe/Lisbon")
    commit(
        database,
        message([{"n": "power", "u": "W", "v": 1e999}]),
        message([VOLTAGE], site="barn"),  # of a bridge that may write to the studio alone
        message(b"\xff"),
        message([VOLTAGE | {"t": NOW_MS // 1000 + 1000}]),
    )
    before = kept(database)
    assert len(before) == 4
    assert "site-not-allowed" in before
    assert again(database, None, NOW_MS + HOUR_MS) == TriedAgain(3, 1)
    before.remove("time-ahead")
    assert kept(database) == before
    assert again(database, site, NOW_MS + HOUR_MS).stored == 0


def test_one_whose_unit_is_another_by_now_stays(home: tuple[Database, Site]) -> None:
    database, site = home
    ahead_s = NOW_MS // 1000 + 1000
    commit(database, message([{"n": "fan", "u": "W", "v": 5, "t": ahead_s}]))
    commit(database, message([{"n": "fan", "u": "V", "v": 1.5}]))
    assert again(database, site, NOW_MS + HOUR_MS) == TriedAgain(1, 0)
    assert newest(database, site) == [("fan", NOW_MS, 1.5)]


def test_one_that_trips_a_bug_costs_no_other(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = home
    ahead_s = NOW_MS // 1000 + 1000
    two = [message([VOLTAGE | {"t": ahead_s + place}]) for place in range(2)]
    commit(database, *two)
    decode = Decoder.decode

    def faulty(self: Decoder, one: Message) -> Decoded:
        if one.payload == two[0].payload:
            raise ArithmeticError("a bug of ours")
        return decode(self, one)

    monkeypatch.setattr(Decoder, "decode", faulty)
    assert again(database, site, NOW_MS + HOUR_MS) == TriedAgain(2, 1)
    assert kept(database) == ["time-ahead"]


def test_a_database_that_is_away_is_told(
    home: tuple[Database, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    database, site = home
    commit(database, message([VOLTAGE | {"t": NOW_MS // 1000 + 1000}]))
    away = StorageUnavailableError("away", where="disk", expected="one", next_step="wait")

    def fails(*_: object) -> Decoded:
        raise away

    monkeypatch.setattr(Decoder, "decode", fails)
    with pytest.raises(StorageUnavailableError):
        again(database, site, NOW_MS + HOUR_MS)
    assert kept(database) == ["time-ahead"]
