"""What an evidence file holds, and that the same data make the same bytes."""

import csv
import json
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import DataRefusedError
from joulebook.evidence.archive import MANIFEST, Archive
from joulebook.evidence.file import make_evidence
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database
from joulebook.storage.sealing import seal
from joulebook.storage.sign_offs import sign_offs_of
from joulebook.storage.site_facts import change_facts
from tests.helpers import databases
from tests.helpers.analysed_sites import shallow_studio
from tests.helpers.databases import NOON_MS, write
from tests.helpers.evidence_files import Unpacked, made_evidence, signed
from tests.helpers.pages import Studio, empty_studio
from tests.service.evidence.conftest import SHALLOW_MS


def rows(unpacked: Unpacked, name: str) -> list[dict[str, str]]:
    with (unpacked.folder / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_the_same_data_at_the_same_instant_make_the_same_bytes(
    shallow: Studio, tmp_path: Path
) -> None:
    first = made_evidence(shallow, tmp_path / "first", now_ms=SHALLOW_MS)
    again = made_evidence(shallow, tmp_path / "again", now_ms=SHALLOW_MS)
    assert first.file.read_bytes() == again.file.read_bytes()


def test_its_tables_hold_every_night_event_and_link(whole: Unpacked) -> None:
    assert len(rows(whole, "nights.csv")) == 370
    [event] = rows(whole, "events.csv")
    assert (event["title"], event["taken_back"]) == ("Reserve 10 %", "")
    assert len(rows(whole, "chain.csv")) == whole.made.links
    assert rows(whole, "chain.csv")[-1]["hash"] == whole.made.head
    results = json.loads(whole.text("results.json"))
    assert results["site"]["battery_ah"] == 200.0
    assert results["site"]["installed"] == "2025-12-20"
    assert results["headline"]["capacity_ah"]["method"] == "capacity-1"
    assert results["readings"]["whole_record"] is True


def test_a_sign_off_is_there_to_the_character(long: Studio, whole: Unpacked) -> None:
    with closing(long.database.connect()) as connection:
        [there] = sign_offs_of(connection, long.site.id)
    assert whole.text(f"sign-off-{there.id}.json") == there.document


def test_many_readings_leave_the_newest_days_and_say_so(shallow: Studio, tmp_path: Path) -> None:
    # 288 rows a day of four quantities: two sealed days fit into 3,000, and two are hot.
    few = made_evidence(shallow, tmp_path / "few", now_ms=SHALLOW_MS, most_readings=3000)
    whole_days = {row.split("T")[0] for row in few.text("readings.csv").splitlines()[1:]}
    assert len(whole_days) == 4
    assert json.loads(few.text("results.json"))["readings"]["whole_record"] is False
    assert "older ones are too many" in " ".join(few.text("README.txt").split())
    assert few.check()[0] == 0


def test_a_site_without_a_battery_still_has_a_file_that_says_why(tmp_path: Path) -> None:
    empty = empty_studio(tmp_path / "data")
    file = made_evidence(empty, tmp_path / "file", now_ms=NOON_MS)
    assert not (file.folder / "readings.csv").exists()
    status, said = file.check()
    assert status == 0
    assert "no number was measured: the site has no battery device" in said
    assert "chain: 0 links" in said


def test_a_battery_that_was_hardly_read_has_its_readings_and_a_reason(tmp_path: Path) -> None:
    empty = empty_studio(tmp_path / "data")
    with closing(empty.database.connect()) as connection:
        write(connection, empty.site, "battery", {NOON_MS: {"power": 5.0}})
    file = made_evidence(empty, tmp_path / "file", now_ms=NOON_MS + 1)
    assert len(file.text("readings.csv").splitlines()) == 2
    status, said = file.check()
    assert status == 0
    assert "no number was measured: a battery reports no" in said


def test_readings_changed_behind_its_back_are_told_by_the_file_and_by_its_checker(
    tmp_path: Path,
) -> None:
    studio = signed(shallow_studio(tmp_path / "data"), 40)
    with closing(studio.database.connect()) as connection:
        connection.execute("UPDATE seal_links SET digest = zeroblob(32) WHERE number = 1")
        connection.execute("UPDATE blocks SET data = x'00' WHERE id = (SELECT max(id) FROM blocks)")
    file = made_evidence(studio, tmp_path / "file", now_ms=SHALLOW_MS)
    assert len(file.made.differing) == 2
    status, said = file.check()
    assert status == 1
    assert "is broken" in said


def test_a_name_that_is_taken_is_refused_and_nothing_is_written(
    shallow: Studio, tmp_path: Path
) -> None:
    file = tmp_path / "evidence.zip"
    file.write_text("mine")
    with pytest.raises(DataRefusedError, match="a file of that name"):
        make_evidence(
            shallow.database,
            shallow.site,
            file,
            clock_ms=lambda: SHALLOW_MS,
            version="1",
            max_gap_s=300.0,
        )
    assert file.read_text() == "mine"


def test_a_failure_on_the_way_leaves_no_manifest_and_no_file(tmp_path: Path) -> None:
    path = tmp_path / "broken.zip"

    def fail() -> Iterator[str]:
        yield "1"
        raise ArithmeticError

    archive = Archive(path)
    with pytest.raises(ArithmeticError), archive:
        archive.put("one.txt", fail())
    with zipfile.ZipFile(path) as found:
        assert MANIFEST not in found.namelist()


def test_terms_are_judged_by_the_limits_that_were_entered(tmp_path: Path) -> None:
    studio = shallow_studio(tmp_path / "data")
    with closing(studio.database.connect()) as connection:
        change_facts(connection, studio.site, charge_low_c=0.0, charge_max_v=55.0)
    fresh = Studio(studio.client, studio.database, site_named(studio.database, "studio"))
    file = made_evidence(fresh, tmp_path / "file", now_ms=SHALLOW_MS)
    kept = json.loads(file.text("results.json"))["kept"]
    # The pack is held at 56 V every noon, at 25 °C throughout.
    assert kept["over_voltage"]["value"] > 10
    assert kept["charge_cold"]["value"] == 0.0
    assert kept["charge_hot"]["reason"] == "the terms' limit was not entered"


def test_another_sites_readings_are_not_in_it(shallow: Studio, tmp_path: Path) -> None:
    database = Database.open(tmp_path / "data")
    one, other = (add_site(database, name, "UTC") for name in ("studio", "annex"))
    with closing(database.connect()) as connection:
        write(connection, one, "battery", {NOON_MS: {"power": 5.0}})
        write(connection, other, "battery", {NOON_MS: {"power": 77.0}})
    studio = Studio(shallow.client, database, one)
    file = made_evidence(studio, tmp_path / "file", now_ms=NOON_MS + 1)
    assert "77" not in file.text("readings.csv")


def test_a_series_that_is_silent_for_a_day_is_no_difference(
    shallow: Studio, tmp_path: Path
) -> None:
    database, site = databases.studio(tmp_path / "data", "UTC")
    day_ms = 86_400_000
    with closing(database.connect()) as connection:
        write(connection, site, "battery", {NOON_MS: {"power": 5.0, "soc": 0.5}})
        write(connection, site, "battery", {NOON_MS + day_ms: {"power": 6.0}})
        seal(connection, NOON_MS + 9 * day_ms)
    studio = Studio(shallow.client, database, site)
    status, said = made_evidence(studio, tmp_path / "file", now_ms=NOON_MS + 9 * day_ms).check()
    assert status == 0
    assert "readings: 2 of 2 sealed days are as sealed" in said
