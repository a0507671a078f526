import json
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database
from joulebook.storage.tokens import check_token

#: Two hours at 1000 W into the battery, every 5 minutes: by hand 2000 Wh.
HISTORY = "time,battery.power [W]\n" + "".join(
    f"2026-07-14T{10 + minute // 60:02d}:{minute % 60:02d}:00Z,1000\n"
    for minute in range(0, 121, 5)
)


@pytest.fixture
def house(tmp_path: Path) -> str:
    """A data directory with a site, in UTC so that days are easy to count."""
    house = str(tmp_path / "house")
    facts = ["--battery-ah", "200", "--battery-cells", "16", "--installed", "2026-07-01"]
    terms = ["--warranty-years", "10", "--warranty-floor", "0.7"]
    throughput = ["--warranty-throughput-kwh", "30000"]
    assert main(["site", "add", "studio", "--timezone", "UTC", "--data", house, *facts]) == 0
    assert (
        main(["site", "add", "annex", "--timezone", "UTC", "--data", house, *terms, *throughput])
        == 0
    )
    return house


@pytest.fixture
def filled(house: str, tmp_path: Path) -> str:
    file = tmp_path / "history.csv"
    file.write_text(HISTORY, encoding="utf-8")
    assert main(["import", str(file), "--site", "studio", "--data", house]) == 0
    assert main(["recompute", "--site", "studio", "--data", house]) == 0
    return house


def test_a_site_keeps_the_facts_that_were_given(house: str) -> None:
    database = Database.open(Path(house))
    studio, annex = site_named(database, "studio"), site_named(database, "annex")
    database.close()
    assert (studio.battery_ah, studio.battery_cells, str(studio.installed)) == (
        200,
        16,
        "2026-07-01",
    )
    assert annex.warranty_throughput_wh == 30_000_000
    assert annex.battery_ah is None


def test_a_token_is_printed_alone_and_opens_the_door(
    house: str, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["token", "add", "shed", "--site", "studio", "--data", house]) == 0
    secret = capsys.readouterr().out.removesuffix("\n")
    database = Database.open(Path(house))
    grant = check_token(database, "shed", secret)
    database.close()
    assert grant is not None
    assert grant.site == "studio"


def test_an_unknown_site_is_four_lines_and_status_2(
    house: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["recompute", "--site", "nowhere", "--data", house]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 4


def test_importing_again_repeats_and_changes_nothing(
    filled: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    file = str(tmp_path / "history.csv")
    assert main(["import", file, "--site", "studio", "--data", filled, "--json"]) == 0
    counts = json.loads(capsys.readouterr().out)
    assert {name: counts[name] for name in ("rows", "new", "repeated", "quarantined")} == {
        "rows": 25,
        "new": 0,
        "repeated": 25,
        "quarantined": 0,
    }


def test_days_are_shown_for_people(filled: str, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    arguments = ["--from", "2026-07-14", "--to", "2026-07-14", "--data", filled]
    assert main(["show", "days", "--site", "studio", *arguments]) == 0
    assert capsys.readouterr().out == (
        "2026-07-14  charged 2.00 kWh  discharged 0.00 kWh  "
        "panels not given  used not given  8% measured\n"
    )


def test_what_was_imported_is_shown_without_asking_for_its_days_first(
    house: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "later.csv"
    file.write_text("time,battery.power [W]\n1784023200,1000\n1784023260,1000\n", encoding="utf-8")
    assert main(["import", str(file), "--site", "studio", "--data", house]) == 0
    capsys.readouterr()
    assert main(["show", "days", "--site", "studio", "--data", house]) == 0
    assert "charged 0.02 kWh" in capsys.readouterr().out


def test_wear_of_some_days_is_what_they_alone_tell(
    filled: str, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    for report in ("wear", "efficiency"):
        arguments = ["--site", "studio", "--to", "2026-07-14", "--json", "--data", filled]
        assert main(["show", report, *arguments]) == 0
        document = json.loads(capsys.readouterr().out)
        assert "reports no voltage" in document["record"]["reason"]


def test_days_are_shown_for_programs(filled: str, capsys: pytest.CaptureFixture[str]) -> None:
    capsys.readouterr()
    assert main(["show", "days", "--site", "studio", "--json", "--data", filled]) == 0
    [day] = json.loads(capsys.readouterr().out)["days"]
    assert day["battery_charge_wh"] == pytest.approx(2000)
    assert day["pv_wh"] is None
    assert day["reasons"]["pv_wh"]


@pytest.mark.parametrize(
    ("report", "told"),
    [
        ("days", "no day has a result yet\n"),
        ("efficiency", "round trip not given: "),
        ("wear", "equivalent full cycles not given: "),
        ("checks", "nothing to check: "),
    ],
)
def test_an_empty_site_gets_reasons_and_no_numbers(
    report: str, told: str, house: str, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["show", report, "--site", "annex", "--data", house]) == 0
    assert capsys.readouterr().out.startswith(told)


def test_the_demonstration_has_all_reports(
    demo_data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for report, told in (
        ("efficiency", "round trip 9"),
        ("wear", " equivalent full cycles"),
        ("checks", "good     battery sign: battery power is positive while charging"),
        ("loads", "until empty, at the load of a usual night: "),
    ):
        assert main(["show", report, "--site", "studio", "--data", str(demo_data)]) == 0
        assert told in capsys.readouterr().out


def test_settings_in_the_data_directory_are_read(
    house: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (Path(house) / "joulebook.toml").write_text("max_gap = 1\n", encoding="utf-8")
    assert main(["recompute", "--site", "studio", "--data", house]) == 2
    assert "did you mean 'max_gap_s'?" in capsys.readouterr().err
