import json
import sqlite3
from pathlib import Path

import pytest

from joulebook.cli import main
from tests.helpers.priced_studio import NOW_MS, priced_studio

EXAMPLE = Path(__file__).parents[3] / "docs" / "examples" / "tariff.toml"


@pytest.fixture
def house(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Options that name a site."""
    data = ["--data", str(tmp_path / "house")]
    assert main(["site", "add", "studio", "--timezone", "America/Chicago", *data]) == 0
    capsys.readouterr()
    return ["--site", "studio", *data]


def test_tariffs_are_added_listed_shown_and_withdrawn(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tariff", "list", *house]) == 0
    assert main(["tariff", "add", str(EXAMPLE), *house]) == 0
    line = (
        "1  from 2025-01-01  $  4 bands  0 a day and 11.50 a month  "
        "as on the contract's second page"
    )
    assert capsys.readouterr().out == f"no tariff\nadded tariff {line}\n"
    assert main(["tariff", "list", *house]) == 0
    assert capsys.readouterr().out == f"{line}\n"
    assert main(["tariff", "show", "1", *house]) == 0
    assert capsys.readouterr().out.splitlines() == [
        line,
        "summer, 06-01 to 09-30",
        "  14:00 to 20:00  weekdays  bought at 0.30, sold at 0.09",
        "  20:00 to 14:00  weekdays  bought at 0.14, sold at 0.06",
        "  00:00 to 24:00  weekend, listed  bought at 0.12, sold at 0.06",
        "winter, 10-01 to 05-31",
        "  00:00 to 24:00  weekdays, weekend, listed  bought at 0.13, sold at 0.05",
        "listed: 2026-07-03, 2026-12-25",
    ]
    assert main(["tariff", "withdraw", "1", *house]) == 0
    assert capsys.readouterr().out == f"withdrew tariff {line}  (withdrawn)\n"
    assert main(["tariff", "list", "--withdrawn", "--json", *house]) == 0
    [one] = json.loads(capsys.readouterr().out)["tariffs"]
    assert one["season"][0]["band"][0]["import"] == "0.30"
    assert one["withdrawn_ms"] >= one["made_ms"]


def test_the_simplest_file(
    tmp_path: Path, house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "simple.toml"
    file.write_text(
        'currency = "EUR"\nfrom = 2026-01-01\n[[band]]\nimport = 0.31\n', encoding="utf-8"
    )
    assert main(["tariff", "add", str(file), *house]) == 0
    assert main(["tariff", "show", "1", "--json", *house]) == 0
    document = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert document["season"][0]["band"][0]["import"] == "0.31"
    assert main(["tariff", "show", "1", *house]) == 0
    assert "all year, 01-01 to 12-31" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("text", "complaint", "expected"),
    [
        ("currency = ", "not", "a file of TOML in UTF-8"),
        (
            'currency = "EUR"\nfrom = 2026-01-01\n[[band]]\nto = "06:00"\nimport = 0.31\n',
            "season 1, band: no band holds at 06:00 on weekdays",
            "bands that fill the 24 hours",
        ),
        ('note = 5\ncurrency = "EUR"\n', "note: 5 is no text", "a text in quotes"),
        ('currency = "EUR"\ncolour = 1\n', "unknown key; from: there is no date", "one of"),
    ],
)
def test_a_file_that_cannot_be_used_says_where(
    tmp_path: Path,
    house: list[str],
    capsys: pytest.CaptureFixture[str],
    text: str,
    complaint: str,
    expected: str,
) -> None:
    file = tmp_path / "wrong.toml"
    file.write_text(text, encoding="utf-8")
    assert main(["tariff", "add", str(file), *house]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 4
    assert lines[0].startswith("joulebook: the tariff cannot be used: ")
    assert complaint in lines[0] or complaint == "not"
    assert lines[1] == f"  where:    {file}"
    assert expected in lines[2]
    assert main(["tariff", "list", *house]) == 0
    assert capsys.readouterr().out == "no tariff\n"


def test_a_day_on_which_one_begins_already(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tariff", "add", str(EXAMPLE), *house]) == 0
    assert main(["tariff", "add", str(EXAMPLE), *house]) == 2
    assert "tariff 1 begins on 2025-01-01 already" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["show", "withdraw"])
def test_a_number_that_is_not_there(
    house: list[str], capsys: pytest.CaptureFixture[str], command: str
) -> None:
    assert main(["tariff", command, "7", *house]) == 2
    assert "expected: a tariff" in capsys.readouterr().err
    assert main(["tariff", "add", str(EXAMPLE), *house]) == 0
    assert main(["tariff", command, "7", *house]) == 2
    assert "expected: one of 1" in capsys.readouterr().err


def test_what_was_done_is_in_the_audit_log(
    house: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tariff", "add", str(EXAMPLE), *house]) == 0
    assert main(["tariff", "withdraw", "1", *house]) == 0
    capsys.readouterr()

    connection = sqlite3.connect(Path(house[-1]) / "joulebook.sqlite3")
    rows = connection.execute("SELECT who, action, detail FROM audit ORDER BY id").fetchall()
    connection.close()
    assert rows[-2:] == [
        ("command line", "add tariff", "1: from 2025-01-01, $"),
        ("command line", "withdraw tariff", "1: from 2025-01-01, $"),
    ]


def test_money_is_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("joulebook.cli.show.clock_ms", lambda: NOW_MS)
    database, _ = priced_studio(tmp_path)
    database.close()
    asked = ["--site", "studio", "--data", str(tmp_path)]
    days = ["--from", "2026-06-03", "--to", "2026-06-10"]
    assert main(["show", "money", *days, *asked]) == 0
    lines = capsys.readouterr().out.splitlines()
    place = lines.index("asked for, 2026-06-03 to 2026-06-10")
    # 9.76 by hand, see the helper; the line of a minute over each step adds half of it.
    assert lines[place + 1].startswith("  paid: 9.77 EUR (9.74 to 9.80)")
    assert lines[place + 1].endswith("100% measured")
    assert main(["show", "money", "--json", *days, *asked]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["periods"]["asked"]["total"]["amount"] == pytest.approx(9.76, rel=0.003)
    assert main(["show", "money", *asked]) == 0
    assert "this month so far" in capsys.readouterr().out
