import json
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.audit import audit_log
from joulebook.storage.database import Database
from joulebook.storage.tokens import check_token


@pytest.fixture
def data(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    data = ["--data", str(tmp_path)]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    capsys.readouterr()
    return data


def test_its_secret_stands_alone_on_standard_output(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["token", "add", "shed", "--site", "studio", *data]) == 0
    secret = capsys.readouterr().out.removesuffix("\n")
    grant = check_token(Database(Path(data[1])), "shed", secret, now_ms=1_784_023_200_000)
    assert grant is not None
    assert (grant.site, grant.scope) == ("studio", "write")
    with closing(Database(Path(data[1])).connect()) as connection:
        noted = audit_log(connection)[0]
    assert (noted.who, noted.site, noted.action, noted.detail) == (
        "command line",
        "studio",
        "make token",
        "shed, scope write",
    )


def test_one_that_reads_or_watches_needs_no_site_and_one_that_writes_does(
    data: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["token", "add", "reader", "--scope", "read", *data]) == 0
    assert main(["token", "add", "watcher", "--scope", "metrics", *data]) == 0
    assert main(["token", "add", "shed", *data]) == 2
    assert "a token that writes is for one site" in capsys.readouterr().err


def test_tokens_are_listed_and_revoked(data: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["token", "list", *data]) == 0
    assert main(["token", "add", "shed", "--site", "studio", *data]) == 0
    none, secret = capsys.readouterr().out.splitlines()
    assert none == "no token"
    # 2026-07-14T10:00:00Z.
    check_token(Database(Path(data[1])), "shed", secret, now_ms=1_784_023_200_000)
    assert main(["token", "add", "reader", "--scope", "read", *data]) == 0
    capsys.readouterr()
    assert main(["token", "list", *data]) == 0
    assert main(["token", "list", "--site", "studio", *data]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "1  shed  write  studio  used 2026-07-14 10:00",
        "2  reader  read  all sites  not used yet",
        "1  shed  write  studio  used 2026-07-14 10:00",
    ]
    assert main(["token", "revoke", "1", *data]) == 0
    assert capsys.readouterr().out.startswith("revoked token 1  shed  write  studio")
    assert check_token(Database(Path(data[1])), "shed", secret) is None
    assert main(["token", "list", "--json", *data]) == 0
    assert [one["id"] for one in json.loads(capsys.readouterr().out)["tokens"]] == [2]
    assert main(["token", "list", "--revoked", *data]) == 0
    assert "  revoked 20" in capsys.readouterr().out.splitlines()[0]
    assert main(["token", "revoke", "1", *data]) == 2
