from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from joulebook.core.checks.finding import METHOD
from joulebook.storage.alerts import open_episode
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.home_lines import home_lines, home_places
from joulebook.storage.organisations import add_organisation, place_site
from joulebook.storage.record_results import save_record_result
from joulebook.storage.records import Site
from joulebook.storage.site_facts import change_facts
from joulebook.summaries.checks_kept import CHECKS_NAME, Trouble
from joulebook.summaries.homes import lines
from joulebook.summaries.homes.lines import update_numbers, update_peers, update_told
from joulebook.summaries.homes.numbers import Numbers
from joulebook.summaries.homes.peers import Peers
from joulebook.summaries.homes.reasons import Reason
from tests.helpers.databases import write
from tests.helpers.told_homes import DAY_MS, NOON_MS, entered_home, keep_record, record


class Homes:
    """A database with homes, and one round over all of them."""

    def __init__(self, data_dir: Path, count: int) -> None:
        self.database = Database.open(data_dir)
        self.connection: Connection = self.database.connect()
        self.sites = [entered_home(self.database, f"home-{n:02d}") for n in range(count)]
        self.now_ms = NOON_MS

    def round(self) -> tuple[int, int, int]:
        """Return of how many homes numbers were read, peers changed, lines were made."""

        def go_on() -> bool:
            return True

        read = update_numbers(self.database, self.connection, now_ms=self.now_ms, go_on=go_on)
        compared = update_peers(self.connection, go_on=go_on)
        made = update_told(self.connection, now_ms=self.now_ms, go_on=go_on)
        return read, compared, made

    def reasons(self, site: Site) -> list[Reason]:
        line = home_lines(self.connection, [site.id])[site.id]
        return msgspec.json.decode(line.told, type=list[Reason])

    def hear(self) -> None:
        for site in self.sites:
            write(self.connection, site, "battery", {self.now_ms: {"power": 1.0}})


@pytest.fixture
def homes(tmp_path: Path) -> Iterator[Homes]:
    made = Homes(tmp_path, 2)
    yield made
    made.connection.close()
    made.database.close()


def test_a_round_in_which_nothing_changed_writes_nothing(homes: Homes) -> None:
    homes.hear()
    keep_record(homes.connection, homes.sites[0], record())
    assert homes.round() == (2, 2, 2)
    assert homes.round() == (0, 0, 0)
    homes.now_ms += 60_000
    assert homes.round() == (0, 0, 0)


def test_the_line_holds_numbers_peers_and_reasons(homes: Homes) -> None:
    homes.hear()
    for site in homes.sites:
        keep_record(homes.connection, site, record())
    homes.round()
    line = home_lines(homes.connection, [homes.sites[0].id])[homes.sites[0].id]
    assert msgspec.json.decode(line.numbers, type=Numbers).capacity.value == 0.93
    assert line.peers is not None
    assert msgspec.json.decode(line.peers, type=Peers).capacity.reason is not None
    assert [each.code for each in homes.reasons(homes.sites[0])] == ["unproven"]
    assert line.heard_ms == NOON_MS


def test_a_silence_an_alert_and_checks_are_told_by_the_next_round(homes: Homes) -> None:
    homes.hear()
    homes.round()
    first, second = homes.sites
    with transaction(homes.connection):
        open_episode(
            *(homes.connection, first.id, "never-full", ""),
            at_ms=NOON_MS,
            value=24.0,
            sentence="24 days ago",
        )
    found = msgspec.json.encode([Trouble("sign", "grid", "it is turned around")])
    save_record_result(
        *(homes.connection, second.id, CHECKS_NAME, METHOD, found), mark=0, computed_ms=NOON_MS
    )
    assert homes.round() == (0, 0, 2)
    assert homes.reasons(first)[0].code == "alert"
    assert homes.reasons(second)[0].sentence == "it is turned around"
    homes.now_ms += 31 * 60_000
    assert homes.round() == (0, 0, 2)
    assert homes.reasons(first)[0].code == "silent"
    assert [each.name for each in home_places(homes.connection)] == ["home-00", "home-01"]


def test_a_new_day_moves_what_is_ahead(homes: Homes) -> None:
    site = homes.sites[0]
    homes.hear()
    keep_record(
        homes.connection,
        site,
        record(
            warranty={
                "ends": "2027-03-02",
                "floor_ratio": 0.7,
                "assumed": [],
            }
        ),
    )
    homes.round()
    assert "warranty-ends" not in {each.code for each in homes.reasons(site)}
    homes.now_ms += DAY_MS
    homes.hear()
    assert homes.round()[2] == 2
    assert "warranty-ends" in {each.code for each in homes.reasons(site)}


def test_a_newer_analysis_is_read_and_terms_that_are_forgotten_told(homes: Homes) -> None:
    site = homes.sites[0]
    homes.hear()
    keep_record(homes.connection, site, record())
    homes.round()
    keep_record(homes.connection, site, record(120.0), computed_ms=NOON_MS + 1)
    assert homes.round()[0] == 1
    assert homes.reasons(site)[0].code == "capacity-low"
    change_facts(homes.connection, site, warranty_years=None)
    homes.round()
    assert [each.code for each in homes.reasons(site)] == ["unproven"]


def test_a_home_that_stands_out_among_its_peers_is_told(tmp_path: Path) -> None:
    homes = Homes(tmp_path, 30)
    homes.hear()
    for number, site in enumerate(homes.sites):
        keep_record(homes.connection, site, record(150.0 if number == 7 else 186.0 + number % 5))
    homes.round()
    [first, *others] = home_places(homes.connection)
    assert first.name == "home-07"
    assert "worse-than-peers" in first.reasons
    assert not any("worse-than-peers" in each.reasons for each in others)
    homes.connection.close()
    homes.database.close()


def test_homes_of_another_organisation_are_no_peers(tmp_path: Path) -> None:
    # Thirty homes alike, but fifteen of them looked after by somebody else: of those, nobody
    # else's page may tell what is typical, nor that there are any.
    homes = Homes(tmp_path, 30)
    homes.hear()
    for site in homes.sites:
        keep_record(homes.connection, site, record(186.0 + site.id % 5))
    theirs = add_organisation(homes.connection, "Kiln Row", now_ms=NOON_MS)
    for site in homes.sites[15:]:
        place_site(homes.connection, site, theirs, who="Ada", now_ms=NOON_MS)
    homes.round()
    lines_of = home_lines(homes.connection, [site.id for site in homes.sites])
    peers = [msgspec.json.decode(line.peers or b"", type=Peers) for line in lines_of.values()]
    assert {one.capacity.peers for one in peers} == {14}
    homes.connection.close()
    homes.database.close()


def test_it_ends_between_two_transactions(homes: Homes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines, "_AT_ONCE", 1)
    answers = iter([True, False] * 3)

    def go_on() -> bool:
        return next(answers)

    with closing(homes.database.connect()) as connection:
        assert update_numbers(homes.database, connection, now_ms=NOON_MS, go_on=go_on) == 1
        homes.round()  # by itself, so that there is something to compare
        connection.execute("UPDATE home_lines SET peers = NULL, made_of = ''")
        update_peers(connection, go_on=go_on)
        rows = connection.execute("SELECT count(*) FROM home_lines WHERE peers IS NOT NULL")
        assert rows.fetchone()[0] == 1
        assert update_told(connection, now_ms=NOON_MS, go_on=go_on) == 1


def test_a_site_that_comes_or_goes_within_a_round_waits_for_the_next(
    homes: Homes, monkeypatch: pytest.MonkeyPatch
) -> None:
    # It was there when the homes were looked at, and is gone when its facts are read.
    monkeypatch.setattr(lines, "sites", lambda _database: homes.sites[:1])
    assert homes.round() == (1, 1, 1)
