import hashlib
from contextlib import closing

import pytest

from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database, StorageUnavailableError, transaction
from joulebook.storage.records import Grant, Scope, Site
from joulebook.storage.tokens import (
    add_token,
    check_token,
    revoke_token,
    revoked_among,
    tokens_of,
)

HOUR_MS = 3_600_000


def test_a_token_s_bearer_may_write_to_its_site(database: Database, site: Site) -> None:
    secret = add_token(database, site, "bridge")
    grant = check_token(database, "bridge", secret)
    assert grant is not None
    assert grant == Grant(token_id=grant.token_id, name="bridge", site_id=site.id, site="studio")


def test_nobody_else_may(database: Database, site: Site) -> None:
    secret = add_token(database, site, "bridge")
    other = add_token(database, site, "other")
    assert check_token(database, "bridge", other) is None
    assert check_token(database, "other", secret) is None
    assert check_token(database, "bridge", "") is None
    assert check_token(database, "bridge", secret[:-1]) is None
    assert check_token(database, "bridge", "\udcff") is None
    assert check_token(database, "", secret) is None


def test_tokens_of_one_name_lead_each_to_its_own_site(database: Database, site: Site) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    secrets = [
        (add_token(database, site, "bridge"), "studio"),
        (add_token(database, site, "bridge"), "studio"),
        (add_token(database, annexe, "bridge"), "annexe"),
    ]
    grants = [(check_token(database, "bridge", secret), name) for secret, name in secrets]
    assert [grant.site if grant else None for grant, _ in grants] == [name for _, name in grants]
    assert len({grant.token_id for grant, _ in grants if grant}) == 3


def test_a_secret_has_256_bits_and_only_its_sha_256_is_kept(
    database: Database, site: Site, connection: Connection
) -> None:
    secret = add_token(database, site, "bridge")
    assert len(secret) == 43  # 32 bytes in base 64 without padding, RFC 4648 §5
    (kept,) = connection.execute("SELECT secret_sha256 FROM tokens").fetchone()
    assert kept == hashlib.sha256(secret.encode()).digest()
    files = [file.read_bytes() for file in database.data_dir.iterdir()]
    assert not any(secret.encode() in content for content in files)


@pytest.mark.parametrize("scope", ["read", "metrics"])
def test_a_token_that_does_not_write_may_be_for_every_site(
    database: Database, scope: Scope
) -> None:
    secret = add_token(database, None, "watcher", scope=scope)
    grant = check_token(database, "watcher", secret)
    assert grant == Grant(token_id=1, name="watcher", scope=scope, site_id=0, site="")


def test_one_that_writes_may_not(database: Database) -> None:
    with pytest.raises(UsageError, match="is for one site"):
        add_token(database, None, "shed")


def test_one_that_is_sent_alone_is_known_by_its_secret(database: Database, site: Site) -> None:
    secret = add_token(database, site, "reader", scope="read")
    grant = check_token(database, None, secret)
    assert grant is not None
    assert grant.name == "reader"
    assert check_token(database, None, "x" + secret) is None


def test_its_use_is_noted_to_the_hour(
    database: Database, site: Site, connection: Connection
) -> None:
    secret = add_token(database, site, "shed", now_ms=1)

    def used_ms(now_ms: int | None) -> int | None:
        assert check_token(database, "shed", secret, now_ms=now_ms) is not None
        return tokens_of(connection)[0].last_used_ms

    assert used_ms(None) is None
    assert used_ms(5) == 5
    assert used_ms(4 + HOUR_MS) == 5
    assert used_ms(5 + HOUR_MS) == 5 + HOUR_MS


def test_while_somebody_else_writes_its_use_is_not_noted_and_it_counts_all_the_same(
    database: Database, site: Site, connection: Connection
) -> None:
    secret = add_token(database, site, "shed")
    with transaction(connection):
        # A file is locked by any writer, a server's row by one who writes to it.
        connection.execute("UPDATE tokens SET name = 'shed'")
        assert check_token(database, "shed", secret, now_ms=5) is not None
    assert tokens_of(connection)[0].last_used_ms is None


def test_one_that_was_revoked_lets_nobody_in(
    database: Database, site: Site, connection: Connection
) -> None:
    secret = add_token(database, site, "shed")
    other = add_token(database, site, "kiln")
    gone = revoke_token(connection, 1, now_ms=7)
    assert (gone.id, gone.name) == (1, "shed")
    assert check_token(database, "shed", secret) is None
    assert check_token(database, "kiln", other) is not None
    assert [(one.name, one.revoked_ms) for one in tokens_of(connection)] == [
        ("shed", 7),
        ("kiln", None),
    ]
    assert revoked_among(database, {1, 2, 3}) == {1, 3}  # one that is not there lets nobody in
    with pytest.raises(UsageError, match="no token 1") as caught:
        revoke_token(connection, 1, now_ms=8)
    assert caught.value.expected == "one of 2"


def test_a_site_s_owner_revokes_tokens_of_that_site_only(
    database: Database, site: Site, connection: Connection
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    add_token(database, site, "shed")
    with pytest.raises(UsageError) as caught:
        revoke_token(connection, 1, now_ms=7, site_id=annexe.id)
    assert caught.value.expected == "a token"
    assert tokens_of(connection, annexe.id) == []
    assert len(tokens_of(connection, site.id)) == 1


@pytest.mark.on_a_file
def test_a_database_that_is_away_is_no_wrong_token(database: Database, site: Site) -> None:
    secret = add_token(database, site, "shed")
    with closing(database.connect()) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    database.path.unlink()
    with pytest.raises(StorageUnavailableError):
        check_token(database, "shed", secret)
