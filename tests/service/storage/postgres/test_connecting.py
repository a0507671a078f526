"""To whom a server does not let in, it is told why by its code, whatever its language.

The codes: PostgreSQL's manual, appendix A "PostgreSQL Error Codes".
"""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import psycopg
import pytest

from joulebook.storage.database import Database, ServerPlace, StorageUnavailableError
from joulebook.storage.postgres import connecting
from tests.helpers.postgres import PostgresServer
from tests.helpers.service import unused_port

pytestmark = pytest.mark.outside

RULES = """
host all locked 127.0.0.1/32 scram-sha-256
host all barred 127.0.0.1/32 reject
host all all 127.0.0.1/32 trust
"""


@pytest.fixture(scope="module")
def strict() -> Iterator[PostgresServer]:
    """A server that does not let everybody in, and says so in German where it can."""
    # What gettext reads before it looks at the locale, which must be another one than "C".
    server = PostgresServer(settings={"lc_messages": "C.UTF-8"}, environ={"LANGUAGE": "de"})
    (server.data / "pg_hba.conf").write_text(RULES, encoding="utf-8")
    server.start()
    with psycopg.connect(server.url("postgres"), autocommit=True) as admin:
        for role in ("locked PASSWORD 'kiln'", "barred", "crowded CONNECTION LIMIT 0", "outsider"):
            admin.execute(f"CREATE ROLE {role}")
            admin.execute(f"ALTER ROLE {role.split()[0]} LOGIN")
        admin.execute("CREATE DATABASE shut ALLOW_CONNECTIONS false")
        admin.execute("CREATE DATABASE walled")
        admin.execute("REVOKE CONNECT ON DATABASE walled FROM PUBLIC")
    yield server
    server.remove()


def place(server: PostgresServer, user: str, database: str = "postgres") -> str:
    return f"postgresql://{user}@127.0.0.1:{server.port}/{database}"


REFUSED = [
    ("locked:wrong", "postgres", "28P01", "does not let us in"),
    ("locked", "postgres", "28P01", "does not let us in"),
    ("barred", "postgres", "28000", "does not let us in"),
    ("nobody", "postgres", "28000", "does not let us in"),
    ("potter", "nowhere", "3D000", "has no such database"),
    ("crowded", "postgres", "53300", "has no room left"),
    ("outsider", "walled", "42501", "does not let us in"),
    ("potter", "shut", "55000", "cannot be reached"),
]


@pytest.mark.parametrize(("user", "database", "code", "what"), REFUSED)
def test_a_refusal_comes_with_its_code_and_is_told_by_it(
    strict: PostgresServer, tmp_path: Path, user: str, database: str, code: str, what: str
) -> None:
    url = place(strict, user, database)
    with pytest.raises(psycopg.OperationalError) as refused:
        connecting.connect(url, {"application_name": "test"})
    assert refused.value.sqlstate == code
    for asked in (Database.open, lambda *where: Database(*where).connect()):
        with pytest.raises(StorageUnavailableError, match=what):
            asked(tmp_path, ServerPlace(url=url))


def test_its_words_were_no_english(strict: PostgresServer) -> None:
    with psycopg.connect(strict.url("postgres")) as there:
        with pytest.raises(psycopg.errors.DivisionByZero) as divided:
            there.execute("SELECT 1 / 0")
        if "division by zero" in str(divided.value):  # pragma: no cover -- where it knows none
            pytest.skip("the server has no German here")
    with pytest.raises(psycopg.OperationalError) as refused:
        psycopg.connect(place(strict, "locked:wrong"))
    assert refused.value.sqlstate is None  # the driver by itself has words alone
    assert "Passwort-Authentifizierung" in str(refused.value)
    assert "authentication failed" not in str(refused.value)


def test_a_server_that_lets_in_is_asked_once(
    strict: PostgresServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connecting, "refusal", None)  # which could not be called
    with closing(connecting.connect(place(strict, "locked:kiln"), {})) as there:
        assert not there.autocommit
    with closing(connecting.connect(place(strict, "potter"), {}, autocommit=True)) as there:
        assert there.autocommit


def test_one_who_is_let_in_by_now_was_refused_for_no_reason_that_holds(
    strict: PostgresServer,
) -> None:
    assert connecting.refusal(place(strict, "potter")) is None


@pytest.mark.parametrize("host", ["127.0.0.1", "/nowhere"])  # a socket that is not there
def test_a_server_that_is_away_has_no_code(host: str) -> None:
    with pytest.raises(psycopg.OperationalError) as away:
        connecting.connect(f"postgresql://potter@/x?host={host}&port={unused_port()}", {})
    assert away.value.sqlstate is None


def test_who_does_not_answer_is_not_waited_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connecting, "_PATIENCE_S", 0.0)
    assert connecting.refusal(f"postgresql://potter@127.0.0.1:{unused_port()}/x") is None


def test_who_waited_in_vain_does_not_ask_again(monkeypatch: pytest.MonkeyPatch) -> None:
    def in_vain(*_: object, **__: object) -> None:
        raise psycopg.errors.ConnectionTimeout("too long")

    monkeypatch.setattr(psycopg, "connect", in_vain)
    monkeypatch.setattr(connecting, "refusal", None)
    with pytest.raises(psycopg.errors.ConnectionTimeout):
        connecting.connect("postgresql://potter@127.0.0.1/x", {})


def test_only_the_library_that_the_driver_has_loaded_is_asked(
    strict: PostgresServer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    maps = tmp_path / "maps"
    monkeypatch.setattr(connecting, "_MAPS", maps)
    assert connecting._loaded() == set()  # as where a system has no such file
    line = "7f00-7f01 r-xp 00000000 08:01 42    "
    files = ("/lib/libpq.so.5.15", "/a b/libpq-e9b5c9ac.so.5", "/lib/libpqxx.so", "/lib/libc.so.6")
    maps.write_text(
        "".join(f"{line}{file}\n" for file in (*files, "[heap]")) + "7f02-7f03 r 0 0 0\n"
    )
    assert connecting._loaded() == set(files[:2])
    # Of two it is not known which one is the driver's.
    connecting._libpq.cache_clear()
    assert connecting.refusal(place(strict, "nobody")) is None
    connecting._libpq.cache_clear()
