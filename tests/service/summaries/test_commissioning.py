from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from joulebook.core.corrections import Correction
from joulebook.storage.corrections import add_correction, withdraw_correction
from joulebook.storage.events import Event, add_event
from joulebook.storage.records import Site
from joulebook.summaries.commissioning import (
    Difference,
    commissioning_record,
    key_of,
    seen_hash,
    since_signed,
)
from tests.helpers.databases import NOON_MS, studio, write


def check(name: str, device: str | None, verdict: str) -> dict[str, Any]:
    return {"name": name, "device": device, "verdict": verdict, "sentence": "it is so"}


CHECKS = {
    "method": "checks-2",
    "checks": [
        check("heard", "battery-2", "good"),
        check("current sign", "battery-2", "unclear"),
        check("legs", None, "trouble"),
    ],
}
SITE = Site(id=1, name="studio", timezone="UTC", battery_ah=200.0, installed=date(2025, 1, 15))


def record(site: Site = SITE) -> dict[str, Any]:
    made = commissioning_record(
        *(site, CHECKS), remarks={"site.legs": "mended"}, statement="Both looked.", version="1.2.3"
    )
    return made | {"signed": {"at_ms": NOON_MS, "name": "Ana", "role": "owner"}}


def test_a_check_has_a_key_that_a_form_can_carry() -> None:
    assert [key_of(each) for each in CHECKS["checks"]] == [  # type: ignore[arg-type]
        "battery-2.heard",
        "battery-2.current-sign",
        "site.legs",
    ]


def test_what_was_seen_is_its_verdicts_in_any_order_and_nothing_else() -> None:
    checks: list[dict[str, Any]] = CHECKS["checks"]  # type: ignore[assignment]
    seen = seen_hash(checks)
    assert seen_hash(checks[::-1]) == seen
    assert seen_hash([each | {"sentence": "5 min ago"} for each in checks]) == seen
    assert seen_hash([*checks[:2], checks[2] | {"verdict": "good"}]) != seen
    assert seen_hash(checks[:2]) != seen


def test_the_record_holds_checks_facts_and_what_was_said() -> None:
    made = record()
    assert made["checks"] is CHECKS
    assert (made["site"], made["timezone"], made["joulebook"]) == ("studio", "UTC", "1.2.3")
    assert (made["remarks"], made["statement"]) == ({"site.legs": "mended"}, "Both looked.")
    assert (made["facts"]["battery_ah"], made["facts"]["installed"]) == (200.0, "2025-01-15")
    assert made["facts"]["installer"] is None
    assert "locale" not in made["facts"]  # how numbers are written is no fact of the equipment
    assert "only an inspection by a qualified person does" in made["declaration"]


@pytest.fixture
def opened(tmp_path: Path) -> Any:
    database, site = studio(tmp_path, "UTC")
    with closing(database.connect()) as connection:
        write(connection, site, "load", {NOON_MS: {"power": 1.0}, NOON_MS + 1: {"power": 2.0}})
        yield connection, site


def test_nothing_is_different_right_after(opened: Any) -> None:
    connection, site = opened
    assert since_signed(connection, site, record(site), CHECKS) == []


def test_verdicts_that_came_went_or_turned_are_told(opened: Any) -> None:
    connection, site = opened
    heard, _, legs = CHECKS["checks"]
    now = {"checks": [heard, legs | {"verdict": "good"}, check("noon", None, "good")]}  # type: ignore[operator]
    assert since_signed(connection, site, record(site), now) == [
        Difference("check", "battery-2.current-sign", "unclear", None),
        Difference("check", "site.legs", "trouble", "good"),
        Difference("check", "site.noon", None, "good"),
    ]


def test_facts_that_were_entered_anew_are_told(opened: Any) -> None:
    connection, site = opened
    changed = replace(site, battery_serial="PT-0043", installed=date(2025, 2, 1))
    assert since_signed(connection, changed, record(site), CHECKS) == [
        Difference("fact", "installed", None, "2025-02-01"),
        Difference("fact", "battery_serial", None, "PT-0043"),
    ]


def test_what_was_noted_or_corrected_since_is_told_and_what_was_before_is_not(opened: Any) -> None:
    connection, site = opened
    for title, made_ms in (("Before", NOON_MS - 1), ("After", NOON_MS + 1)):
        event = Event(id=0, at_ms=NOON_MS - 5, kind="wiring", title=title, made_ms=made_ms)
        add_event(connection, site, event)
    corrections = [
        add_correction(
            *(connection, site),
            Correction(
                id=0, device="load", quantity="power", kind="scale", value=value, made_ms=made_ms
            ),
        ).correction
        for value, made_ms in ((2.0, 3), (3.0, 4), (4.0, NOON_MS + 2), (5.0, NOON_MS + 3))
    ]
    withdraw_correction(connection, site, corrections[0].id, now_ms=NOON_MS + 4)
    withdraw_correction(connection, site, corrections[3].id, now_ms=NOON_MS + 4)
    assert since_signed(connection, site, record(site), CHECKS) == [
        Difference("event", "After", None, "wiring"),
        Difference("correction", "load power", "scale", None),  # the first, withdrawn since
        Difference("correction", "load power", None, "scale"),  # the third
        # The second stands as it stood; the fourth came and went.
    ]
