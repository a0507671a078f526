from pathlib import Path

import pytest

from joulebook.cli.doctor.clock import check_clock, check_zones, kernel_clock

#: 2026-11-25T12:00:00Z. [ms, UTC epoch]
NOW_MS = 1_795_608_000_000


@pytest.mark.parametrize(
    ("state", "verdict"), [(0, "well"), (2, "well"), (5, "look"), (-1, "unknown")]
)
def test_the_states_of_adjtimex(state: int, verdict: str) -> None:
    # adjtimex(2), "Return value": 0 is TIME_OK, 2 a leap second at hand, 5 not synchronised.
    assert [one.verdict for one in check_clock(lambda: state)] == [verdict]


def test_this_machine_answers() -> None:
    assert kernel_clock() in range(-1, 6)


def test_a_system_without_the_call_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ctypes.CDLL", lambda _name: object())
    assert kernel_clock() == -1


def zones(folder: Path, first_line: str | None) -> list[str]:
    (folder / "UTC").touch()
    if first_line is not None:
        (folder / "tzdata.zi").write_text(first_line)
    return [str(folder / "absent"), str(folder)]


@pytest.mark.parametrize(
    ("first_line", "verdict"),
    [
        # The form of the first line is that of the release files of the IANA database.
        ("# version 2026b\n", "well"),
        ("# version 2025a\n", "well"),
        ("# version 2024a\n", "look"),
        ("something else\n", "unknown"),
        (None, "unknown"),
    ],
)
def test_the_age_of_the_systems_zones(tmp_path: Path, first_line: str | None, verdict: str) -> None:
    [finding] = check_zones(NOW_MS, zones(tmp_path, first_line))
    assert finding.verdict == verdict
    assert str(tmp_path) in finding.sentence


def test_without_the_systems_the_packages_zones_count(tmp_path: Path) -> None:
    [finding] = check_zones(NOW_MS, [str(tmp_path)], lambda: "2023.3")
    assert finding.verdict == "look"
    assert finding.sentence == "release 2023.3 of the time zone database, from the package tzdata"


def test_here_there_are_zones() -> None:
    [finding] = check_zones(NOW_MS)
    assert finding.about == "time zones"
    [of_the_package] = check_zones(NOW_MS, [])
    assert of_the_package.verdict in ("well", "look")
