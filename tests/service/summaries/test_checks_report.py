"""The checks document of a plant that is wired right, and of the same with a clamp turned."""

import json
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from joulebook.core.corrections import Correction
from joulebook.core.spans import local_day
from joulebook.storage.corrections import add_correction
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.checks_report import checks_report
from tests.helpers.stored_plants import FIRST, LAST, empty_studio, plant_studio

HOUR_MS = 3_600_000


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, Site]]:
    database, site, _ = plant_studio(tmp_path_factory.mktemp("checks"))
    yield database, site
    database.close()


def asked(
    studio: tuple[Database, Site], first: date | None, last: date | None, now_ms: int
) -> dict[str, Any]:
    document = checks_report(*studio, first, last, now_ms=now_ms)
    read: dict[str, Any] = json.loads(json.dumps(document, allow_nan=False))
    return read


def verdicts(document: dict[str, Any]) -> dict[tuple[str | None, str], str]:
    return {(each["device"], each["name"]): each["verdict"] for each in document["checks"]}


def end_ms(site: Site) -> int:
    return local_day(LAST, site.zone).end_ms


def test_a_site_that_is_wired_right_has_good_signs(studio: tuple[Database, Site]) -> None:
    document = asked(studio, None, None, end_ms(studio[1]))
    assert (document["from"], document["to"]) == (FIRST.isoformat(), LAST.isoformat())
    found = verdicts(document)
    assert found["battery", "sign"] == "good"
    assert found["grid", "sign"] == "good"
    assert found["battery", "heard"] == "good"
    assert all(each["method"] == "checks-2" for each in document["checks"])


def test_a_silence_shows_when_nobody_names_a_day(studio: tuple[Database, Site]) -> None:
    now_ms = end_ms(studio[1]) + 30 * HOUR_MS
    document = asked(studio, None, None, now_ms)
    assert document["up_to_ms"] == now_ms
    heard = next(each for each in document["checks"] if each["name"] == "heard")
    assert heard["verdict"] == "trouble"
    assert heard["look_at"]
    assert heard["caution"]
    # For days that are over, the last one ends where it ended.
    named = asked(studio, FIRST, LAST, now_ms)
    assert named["up_to_ms"] == end_ms(studio[1])
    # A site that has long been silent is looked at where it spoke last.
    late = asked(studio, None, None, now_ms + 300 * HOUR_MS)
    assert late["up_to_ms"] == end_ms(studio[1])
    assert late["newest_ms"] < late["up_to_ms"]


def test_today_counts_up_to_now(studio: tuple[Database, Site]) -> None:
    now_ms = local_day(LAST, studio[1].zone).start_ms + 5 * HOUR_MS
    document = asked(studio, LAST, LAST, now_ms)
    assert document["up_to_ms"] == now_ms


def test_corrections_are_applied_before_the_checks(tmp_path: Path) -> None:
    database, site, _ = plant_studio(tmp_path)
    wrong = Correction(id=0, device="battery", quantity="power", kind="sign", made_ms=1)
    with closing(database.connect()) as connection:
        add_correction(connection, site, wrong)
    document = asked((database, site), None, None, end_ms(site))
    assert verdicts(document)["battery", "sign"] == "trouble"
    database.close()


def test_without_readings_there_is_nothing_to_check(
    studio: tuple[Database, Site], tmp_path: Path
) -> None:
    database, site = empty_studio(tmp_path)
    empty = asked((database, site), None, None, end_ms(site))
    assert (empty["checks"], empty["reason"]) == ([], "no readings were taken in these days")
    database.close()
    early = asked(studio, date(2020, 1, 1), date(2020, 1, 3), end_ms(studio[1]))
    assert early["checks"] == []


def test_the_inverters_rating_bounds_what_the_battery_can_read(
    studio: tuple[Database, Site],
) -> None:
    database, site = studio
    limits = [
        verdicts(
            checks_report(
                *(database, replace(site, inverter_w=rated_w), None, None), now_ms=end_ms(site)
            )
        )["battery", "limits"]
        for rated_w in (None, 100.0, 10_000.0)
    ]
    assert limits == ["good", "trouble", "good"]
