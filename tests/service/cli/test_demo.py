from pathlib import Path

from joulebook.cli.demo import bridge_secret
from joulebook.storage.catalogue import add_site, check_token
from joulebook.storage.database import Database


def test_the_bridges_secret_is_kept_from_run_to_run_and_from_other_eyes(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    add_site(database, "studio", "America/Chicago")
    secret = bridge_secret(database)
    assert bridge_secret(database) == secret
    assert check_token(database, "shed", secret) is not None
    assert (tmp_path / "demo-bridge.secret").stat().st_mode & 0o077 == 0
    database.close()


def test_a_kept_secret_that_opens_nothing_is_replaced(tmp_path: Path) -> None:
    database = Database.open(tmp_path)
    add_site(database, "studio", "America/Chicago")
    (tmp_path / "demo-bridge.secret").write_text("of another database", encoding="utf-8")
    assert check_token(database, "shed", bridge_secret(database)) is not None
    database.close()
