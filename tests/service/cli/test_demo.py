from datetime import date
from pathlib import Path

import pytest

from joulebook.cli.demo import bridge_secret, feeds_of
from joulebook.demo.bridged import BridgedAnnex
from joulebook.demo.history import History
from joulebook.demo.publish import LivePublisher
from joulebook.storage.catalogue import add_site, sites
from joulebook.storage.database import Database
from joulebook.storage.tokens import check_token


def test_the_bridges_secret_is_kept_from_run_to_run_and_from_other_eyes(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    add_site(database, "studio", "America/Chicago")
    secret = bridge_secret(database, "studio")
    assert bridge_secret(database, "studio") == secret
    assert check_token(database, "shed", secret) is not None
    assert (tmp_path / "demo-studio.secret").stat().st_mode & 0o077 == 0
    database.close()


def test_a_kept_secret_that_opens_nothing_is_replaced(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    add_site(database, "studio", "America/Chicago")
    (tmp_path / "demo-studio.secret").write_text("of another database", encoding="utf-8")
    assert check_token(database, "shed", bridge_secret(database, "studio")) is not None
    database.close()


def test_the_annex_is_there_where_the_bridge_is_installed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database = Database.open(tmp_path)
    add_site(database, "studio", "America/Chicago")
    history = History(date(2026, 9, 25))
    for _ in range(2):  # a second run finds the annex
        kinds = [type(feed) for feed in feeds_of(database, history, 1)]
        assert kinds == [LivePublisher, BridgedAnnex]
    assert [site.name for site in sites(database)] == ["annex", "studio"]
    monkeypatch.setattr("joulebook.cli.demo.bridge_is_installed", lambda: False)
    assert [type(feed) for feed in feeds_of(database, history, 1)] == [LivePublisher]
    database.close()
