import logging
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest import committer as committer_module
from joulebook.ingest.committer import Committer
from joulebook.ingest.decode import Decoder
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.outcomes import Decoded
from joulebook.storage import series
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database, StorageUnavailableError, transaction
from joulebook.storage.quarantine import quarantined
from joulebook.storage.reading import latest_readings
from joulebook.storage.records import Column, Site, Written
from joulebook.storage.series import MAX_SERIES, SeriesRegister, series_of
from tests.helpers.databases import studio
from tests.helpers.packs import VOLTAGE, message


@pytest.fixture
def committer(home: tuple[Database, Site]) -> Iterator[Committer]:
    with closing(Committer(home[0])) as made:
        yield made


def stored(database: Database, site: Site) -> dict[tuple[str, str], object]:
    with closing(database.connect()) as connection:
        newest = latest_readings(connection, site.id)
    return {(one.series.device, one.series.quantity): one.value for one in newest}


def reasons(database: Database) -> list[str]:
    with closing(database.connect()) as connection:
        return sorted(one.refused.reason for one in quarantined(connection, None))


def units(database: Database, site: Site) -> dict[str, str]:
    with closing(database.connect()) as connection:
        return {one.quantity: one.unit for one in series_of(connection, site.id)}


def test_a_unit_that_storage_does_not_have_is_converted_or_refused(
    home: tuple[Database, Site], committer: Committer
) -> None:
    committer.commit([message([{"n": "fan", "u": "W", "v": 5}])])
    outcome = committer.commit(
        [
            message([VOLTAGE, {"n": "fan", "u": "kW", "v": 1.5}]),
            message([{"n": "fan", "u": "V", "v": 1.5}]),
        ]
    )
    assert outcome.verdicts == [Verdict.STORED, Verdict.QUARANTINED]
    assert (outcome.written, outcome.quarantined) == (Written(new=1, replaced=1), 1)
    assert stored(*home) == {("battery", "voltage"): 53.1, ("battery", "fan"): 1500.0}
    assert units(*home)["fan"] == "W"
    assert reasons(home[0]) == ["unit-wrong"]


def test_a_conflict_within_one_transaction_leaves_the_first_unit(
    home: tuple[Database, Site], committer: Committer
) -> None:
    outcome = committer.commit(
        [
            message([{"n": "fan", "u": "W", "v": 5}]),
            message([{"n": "fan", "u": "V", "v": 1.5}]),
            message([{"n": "fan", "vs": "on"}]),
        ]
    )
    assert outcome.verdicts == [Verdict.STORED, Verdict.QUARANTINED, Verdict.QUARANTINED]
    assert units(*home) == {"fan": "W"}


def test_a_device_that_makes_up_names_is_stopped_and_keeps_its_series(
    home: tuple[Database, Site], committer: Committer
) -> None:
    database, site = home
    with closing(database.connect()) as connection, transaction(connection):
        columns = tuple(Column(f"q{number}", "") for number in range(MAX_SERIES))
        SeriesRegister().resolve(connection, site.id, "kiln", columns)
    pack = [{"n": "q7", "v": 1}, {"n": "one-too-many", "v": 1}]
    outcome = committer.commit([message(pack, device="kiln"), message([VOLTAGE])])
    assert outcome.verdicts == [Verdict.STORED, Verdict.STORED]
    assert stored(*home) == {("kiln", "q7"): 1.0, ("battery", "voltage"): 53.1}
    assert reasons(database) == ["quantities-too-many"]


def test_a_sender_that_makes_up_devices_is_stopped_and_keeps_its_own(
    home: tuple[Database, Site], committer: Committer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(series, "MAX_DEVICES", 2)
    made_up = [message([VOLTAGE], device=f"battery-{number}") for number in range(5)]
    outcome = committer.commit(made_up)
    assert outcome.verdicts == [Verdict.STORED] * 2 + [Verdict.QUARANTINED] * 3
    assert set(stored(*home)) == {("battery-0", "voltage"), ("battery-1", "voltage")}
    assert reasons(home[0]) == ["devices-too-many"] * 3
    assert committer.commit(made_up[:1]).verdicts == [Verdict.STORED]


def test_many_conflicts_cost_one_more_try(
    home: tuple[Database, Site], committer: Committer, monkeypatch: pytest.MonkeyPatch
) -> None:
    devices = [f"fan-{number}" for number in range(20)]
    committer.commit(
        [message([{"n": "speed", "u": "m/s", "v": 5}], device=each) for each in devices]
    )
    tries = []
    write = Committer._write

    def counted(self: Committer, *what: Any) -> Written:
        tries.append(1)
        return write(self, *what)

    monkeypatch.setattr(Committer, "_write", counted)
    with closing(Committer(home[0])) as after_a_restart:
        outcome = after_a_restart.commit(
            [message([{"n": "speed", "u": "V", "v": 5}], device=each) for each in devices]
        )
    assert outcome.verdicts == [Verdict.QUARANTINED] * 20
    assert len(tries) == 2


def test_a_bug_costs_the_message_that_trips_it(
    home: tuple[Database, Site],
    committer: Committer,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    decode = Decoder.decode

    def with_a_bug(self: Decoder, one: Message) -> Decoded:
        if b"trip" in one.payload:
            raise ZeroDivisionError("somebody divided")
        return decode(self, one)

    monkeypatch.setattr(Decoder, "decode", with_a_bug)
    messages = [message([VOLTAGE | {"t": -second}]) for second in range(10)]
    messages[6] = message([VOLTAGE | {"foo": "trip"}])
    messages[8] = message([VOLTAGE | {"foo": "trip"}], site="barn", bound=False)
    with caplog.at_level(logging.ERROR):
        outcome = committer.commit(messages)
    assert [verdict.value for verdict in outcome.verdicts] == [
        "quarantined" if number in (6, 8) else "stored" for number in range(10)
    ]
    assert (outcome.written.new, outcome.quarantined) == (8, 2)
    assert reasons(home[0]) == ["internal-error", "internal-error"]
    with closing(home[0].connect()) as connection:
        kept = quarantined(connection, None)
    assert {one.refused.payload for one in kept} == {messages[6].payload}
    assert {one.refused.site_id for one in kept} == {home[1].id, None}
    assert "ZeroDivisionError" in caplog.text
    assert "ZeroDivisionError" in kept[0].refused.detail


def test_storage_that_is_away_is_no_bug(
    committer: Committer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> Written:
        raise StorageUnavailableError("the disk is full", where="", expected="", next_step="")

    monkeypatch.setattr(committer_module, "write_rows", full)
    with pytest.raises(StorageUnavailableError):
        committer.commit([message([VOLTAGE])])
    monkeypatch.undo()
    # The series that the rollback took back are made again.
    assert committer.commit([message([VOLTAGE])]).written == Written(new=1)


def test_a_site_added_by_another_process_is_found(
    home: tuple[Database, Site], committer: Committer
) -> None:
    committer.commit([message([VOLTAGE])])
    barn = add_site(home[0], "barn", "Asia/Kathmandu")
    committer._sites._asked_s = None  # as if a second had passed
    outcome = committer.commit([message([VOLTAGE], site="barn", bound=False)])
    assert outcome.verdicts == [Verdict.STORED]
    assert stored(home[0], barn) == {("battery", "voltage"): 53.1}


def test_messages_in_any_order_leave_the_last_value(
    home: tuple[Database, Site], committer: Committer
) -> None:
    both = [VOLTAGE | {"v": 2}, {"n": "current", "u": "A", "v": 2}]
    committer.commit([message([VOLTAGE]), message(both), message([VOLTAGE | {"v": 3}])])
    assert stored(*home) == {("battery", "voltage"): 3.0, ("battery", "current"): 2.0}


@given(st.lists(st.binary(max_size=60), max_size=4))
@settings(derandomize=True, deadline=None, max_examples=50)
def test_no_payload_costs_the_message_beside_it(payloads: list[bytes]) -> None:
    with TemporaryDirectory() as data_dir:
        database, site = studio(Path(data_dir))
        with closing(Committer(database)) as committer:
            outcome = committer.commit([*map(message, payloads), message([VOLTAGE])])
        assert outcome.verdicts[-1] is Verdict.STORED
        assert len(outcome.verdicts) == len(payloads) + 1
        assert stored(database, site)["battery", "voltage"] == 53.1
        assert "internal-error" not in reasons(database)
        database.close()
