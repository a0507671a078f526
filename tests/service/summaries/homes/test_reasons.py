from typing import Any

import pytest

from joulebook.core.alerts.rules import RULES
from joulebook.storage.home_inputs import HomeInput, OpenAlert
from joulebook.storage.home_lines import NOT_TOLD
from joulebook.summaries.checks_kept import Trouble
from joulebook.summaries.homes.numbers import Measured, Numbers
from joulebook.summaries.homes.peers import Beside, Peers
from joulebook.summaries.homes.reasons import (
    AHEAD,
    CODES,
    Reason,
    gravity_of,
    gravity_of_all,
    is_silent,
    reasons_of,
)
from tests.helpers.told_homes import NOON_MS, TODAY, home_input, numbers, outlook

MINUTE_MS = 60_000


def reasons(
    home: HomeInput | None = None,
    found: Numbers | None = None,
    peers: Peers | None = None,
    trouble: tuple[Trouble, ...] = (),
    *,
    silent: bool = False,
) -> list[Reason]:
    return reasons_of(
        *(home or home_input(), found or numbers(), peers, trouble), silent=silent, today=TODAY
    )


def test_a_home_that_is_well_needs_nobody() -> None:
    assert reasons() == []
    assert gravity_of_all([]) < NOT_TOLD


def test_all_reasons_at_once_come_in_order() -> None:
    alerts = (
        OpenAlert("never-full", NOON_MS - 5, "24 days ago"),
        OpenAlert("neutral", NOON_MS - 9, "130 V and 110 V"),
    )
    beside = Beside(peers=40, named=True)
    low = numbers(
        capacity=Measured(value=0.6, low=0.58, high=0.62),
        outlook=outlook(ends="2026-12-01", chance=0.1),
    )
    found = reasons(
        home_input(alerts=alerts, signed=False),
        low,
        Peers(capacity=beside, fade=beside),
        (Trouble("sign", "battery", "it is turned around"),),
        silent=True,
    )
    assert [each.code for each in found] == list(CODES)
    by_code = {each.code: each for each in found}
    assert by_code["danger"] == Reason(
        code="danger",
        title="The neutral seems loose",
        sentence="130 V and 110 V",
        since_ms=NOON_MS - 9,
    )
    assert by_code["silent"].since_ms == NOON_MS - MINUTE_MS
    assert by_code["checks"].check == ("sign", "battery")
    assert by_code["worse-than-peers"].about == ("capacity", "fade")
    # By hand: 275 days over 30.44 a month are nine whole months.
    assert by_code["forecast-low"] == Reason(
        code="forecast-low", until="2026-12-01", months=9, chance=0.1
    )
    assert by_code["warranty-ends"] == Reason(code="warranty-ends", until="2026-12-01", months=9)
    assert by_code["unproven"].missing == ("sign-off",)
    assert gravity_of_all(found) == 0


@pytest.mark.parametrize(
    "rule", ["bridge-silent", "capacity-low", "forecast-low", "disk", "backup"]
)
def test_an_alert_that_is_told_otherwise_or_of_the_machine_is_not_told_twice(rule: str) -> None:
    assert rule in {each.name for each in RULES}
    assert reasons(home_input(alerts=(OpenAlert(rule, NOON_MS, "so"),))) == []


def test_an_alert_of_a_rule_that_is_no_more_is_passed_over() -> None:
    assert reasons(home_input(alerts=(OpenAlert("gone", NOON_MS, "so"),))) == []


@pytest.mark.parametrize(
    ("changes", "silent"),
    [
        ({}, False),
        ({"newest_ms": None}, True),
        ({"newest_ms": NOON_MS - 30 * MINUTE_MS}, False),
        ({"newest_ms": NOON_MS - 30 * MINUTE_MS - 1}, True),
        ({"newest_ms": NOON_MS - 60 * MINUTE_MS, "silence": (True, 120.0)}, False),
        ({"newest_ms": NOON_MS - 121 * MINUTE_MS, "silence": (True, 120.0)}, True),
        ({"newest_ms": NOON_MS - 60 * MINUTE_MS, "silence": (True, None)}, True),
        ({"newest_ms": None, "silence": (False, None)}, False),
    ],
)
def test_silence_is_what_its_owner_calls_so(changes: dict[str, Any], silent: bool) -> None:
    # The rule's own limit is half an hour: docs/methods/alerts.md.
    assert is_silent(home_input(**changes), NOON_MS) is silent


def test_terms_that_were_assumed_alarm_nobody() -> None:
    low = numbers(
        capacity=Measured(value=0.6, low=0.58, high=0.62),
        outlook=outlook(assumed=True, chance=0.1, ends="2026-06-01"),
    )
    found = reasons(home_input(said=(False, False)), low)
    assert found == [Reason(code="unproven", missing=("terms", "installed"))]


@pytest.mark.parametrize(("high", "codes"), [(0.69, ["capacity-low"]), (0.7, [])])
def test_less_than_promised_is_told_where_even_the_high_end_is(
    high: float, codes: list[str]
) -> None:
    low = numbers(capacity=Measured(value=0.65, low=0.6, high=high))
    assert [each.code for each in reasons(found=low)] == codes


@pytest.mark.parametrize(
    ("ends", "chance", "codes"),
    [
        ("2034-03-01", 0.49, ["forecast-low"]),
        ("2034-03-01", 0.5, []),
        ("2034-03-01", None, []),
        ("2027-03-01", 0.9, ["warranty-ends"]),
        ("2027-03-02", 0.9, []),
        ("2026-03-02", 0.1, ["forecast-low", "warranty-ends"]),
        ("2026-03-01", 0.1, []),  # it is over: nothing can be done
    ],
)
def test_what_is_ahead_is_told_in_time(ends: str, chance: float | None, codes: list[str]) -> None:
    found = reasons(found=numbers(outlook=outlook(ends=ends, chance=chance)))
    assert [each.code for each in found] == codes


def test_a_home_without_numbers_lacks_its_proof() -> None:
    why = Measured(reason="not analysed")
    found = reasons(found=Numbers(capacity=why, fade=why))
    assert found == [Reason(code="unproven", missing=("capacity",))]


def test_peers_name_a_home_only_where_it_stands_out() -> None:
    quiet, named = Beside(peers=40), Beside(peers=40, named=True)
    assert reasons(peers=Peers(capacity=quiet, fade=quiet)) == []
    [found] = reasons(peers=Peers(capacity=quiet, fade=named))
    assert found.about == ("fade",)


def test_what_is_nearer_comes_first_and_stays_within_its_code() -> None:
    near, far = Reason(code="warranty-ends", months=2), Reason(code="warranty-ends", months=11)
    endless = Reason(code="forecast-low", months=10**9)
    assert gravity_of(endless) < gravity_of(near) < gravity_of(far)
    assert gravity_of(far) < gravity_of(Reason(code="unproven"))
    assert set(CODES) > set(AHEAD)
    assert gravity_of(Reason(code=CODES[-1], months=10**9)) < NOT_TOLD
