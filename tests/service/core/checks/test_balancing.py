"""Clamps turned around and powers in kilowatts, planted one by one."""

import numpy as np
import pytest

from joulebook.core.checks.balancing import Powers, balanced
from joulebook.core.checks.finding import Finding
from tests.helpers.checked_sites import CheckedSite, sound_site


def _found(site: CheckedSite) -> dict[tuple[str, str | None], Finding]:
    return {(finding.name, finding.device): finding for finding in balanced(site.inputs())}


def test_a_sound_site_is_good_throughout() -> None:
    found = _found(sound_site())
    assert {finding.verdict for finding in found.values()} == {"good"}
    assert len(found) == 6
    # 30 W and 4 % of some 750 W.
    assert found["scale", "load"].evidence["left_over_w"] == pytest.approx(60, abs=2)


@pytest.mark.parametrize("kinds", [("battery",), ("grid",), ("battery", "grid")])
def test_clamps_turned_around_are_told_apart(kinds: tuple[str, ...]) -> None:
    site = sound_site()
    for kind in kinds:
        site = site.changed(kind, power=lambda power: -power)
    found = _found(site)
    for kind in ("battery", "grid"):
        assert found["sign", kind].verdict == ("trouble" if kind in kinds else "good")
    wrong = found["sign", kinds[0]]
    assert "wrong sign" in wrong.sentence
    assert wrong.look_at is not None
    assert wrong.caution is not None


@pytest.mark.parametrize("kind", ["battery", "pv", "load"])
@pytest.mark.parametrize(
    ("factor", "words"), [(0.001, "kilowatts"), (1000.0, "thousandths of a watt")]
)
def test_a_power_in_another_unit_is_told(kind: str, factor: float, words: str) -> None:
    found = _found(sound_site().changed(kind, power=lambda power: power * factor))
    assert found["scale", kind].verdict == "trouble"
    assert words in found["scale", kind].sentence
    others = [each.verdict for (name, device), each in found.items() if device != kind]
    assert "trouble" not in others


def test_all_powers_in_kilowatts_are_told_by_their_size() -> None:
    site = sound_site()
    for kind in ("battery", "pv", "grid", "load"):
        site = site.changed(kind, power=lambda power: power / 1000)
    found = _found(site)
    assert {found["scale", kind].verdict for kind in ("battery", "pv", "grid", "load")} == {
        "trouble"
    }
    assert "all of them look like kilowatts" in found["scale", "pv"].sentence


def test_a_balance_that_does_not_close_tells_nothing() -> None:
    found = _found(sound_site().changed("load", power=lambda power: power[::-1] * 3))
    assert {finding.verdict for finding in found.values()} == {"unclear"}


def test_a_battery_at_rest_tells_no_sign() -> None:
    found = _found(sound_site().changed("battery", power=lambda power: power * 0.0))
    assert found["sign", "battery"].verdict == "unclear"
    assert found["scale", "battery"].verdict == "unclear"


def test_a_site_without_grid_or_load_or_common_time() -> None:
    assert ("sign", "grid") not in _found(sound_site().without("grid"))
    for site in (sound_site().without("load"), sound_site().without("battery")):
        assert {finding.verdict for finding in _found(site).values()} == {"unclear"}
    apart = sound_site().inputs(
        keep=lambda device, at_ms: (at_ms % 86_400_000 < 40_000_000) == (device == "load")
    )
    assert {finding.sentence for finding in balanced(apart)} == {
        "the powers of the site were never measured together"
    }


def test_what_is_left_over_is_the_same_however_often_and_in_which_order_it_is_asked() -> None:
    # For 60 s: 100 W of sun and 40 W of grid, 120 W of load, 10 W into the battery: 10 W are left,
    # 30 W with the battery turned. For 30 s: 300, 0, 200 and 90 W: 10 W, and 190 W turned.
    # (30 * 60 + 190 * 30) / 90 = 83.33 W; the battery's mean is (10 * 60 + 90 * 30) / 90 = 36.67 W.
    # With the load in thousandths: for 60 s 100 + 40 - 0.12 - 10 = 129.88 W, for 30 s
    # 300 - 0.2 - 90 = 209.8 W: (129.88 * 60 + 209.8 * 30) / 90 = 156.52 W.
    expected = {
        (): 10.0,
        (("battery", -1.0),): 7500 / 90,
        (("battery", 1.0), ("grid", 1.0)): 10.0,
        (("load", 0.001),): 156.52,
    }
    for order in (list(expected), list(reversed(expected))):
        powers = Powers(
            {
                "pv": np.array([100.0, 300.0]),
                "grid": np.array([40.0, 0.0]),
                "load": np.array([120.0, 200.0]),
                "battery": np.array([10.0, 90.0]),
            },
            seconds=np.array([60.0, 30.0]),
            coverage_ratio=1.0,
        )
        for factors in order * 2:
            assert powers.rest_w(**dict(factors)) == pytest.approx(expected[factors])
        assert powers.mean_w("battery") == pytest.approx(3300 / 90)
        assert powers.largest_w(battery=10.0) == pytest.approx(33000 / 90)
