import io
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.cli.people import first_owner_link
from joulebook.settings import Settings
from joulebook.storage.audit import audit_log
from joulebook.storage.database import Database
from joulebook.storage.people import has_owner, password_of, person_named
from joulebook.storage.sessions import open_session
from joulebook.storage.welcomes import use_welcome, welcome_of

PASSWORD = "four words nobody guesses"


@pytest.fixture
def data(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    data = ["--data", str(tmp_path)]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    capsys.readouterr()
    return data


def database(data: list[str]) -> Database:
    return Database(Path(data[1]))


def actions(data: list[str]) -> list[tuple[str, str, str]]:
    with closing(database(data).connect()) as connection:
        return [(one.who, one.action, one.detail) for one in audit_log(connection)]


def give_password(data: list[str], name: str, monkeypatch: pytest.MonkeyPatch, *more: str) -> int:
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n"))
    return main(["person", "add", name, "--role", "owner", "--password", *more, *data])


def test_somebody_is_added_by_a_link(data: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["person", "add", "Ana", "--role", "owner", *data]) == 0
    [link] = capsys.readouterr().out.splitlines()
    base, _, secret = link.rpartition("/welcome/")
    assert base == "http://127.0.0.1:8350"
    with closing(database(data).connect()) as connection:
        ana = person_named(connection, "Ana")
        use_welcome(connection, secret, name="", kept="kept", now_ms=ana.made_ms + 1)
        assert has_owner(connection)
    assert actions(data)[0] == ("command line", "add person", "Ana: owner of every site")


def test_somebody_is_added_for_a_site_with_a_password(
    data: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert give_password(data, "Rui", monkeypatch, "--site", "studio") == 0
    assert capsys.readouterr().out == "added Rui\n"
    with closing(database(data).connect()) as connection:
        assert person_named(connection, "Rui").at == {1: "owner"}
        assert password_of(connection, "Rui") is not None
    assert actions(data)[0][2] == "Rui: owner of studio"


def test_a_password_that_does_not_do_adds_nobody(
    data: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert give_password(data, "nobody", monkeypatch) == 2
    assert give_password(data, "guesses", monkeypatch) == 2
    assert "this password does not do" in capsys.readouterr().err
    assert main(["person", "list", *data]) == 0
    assert capsys.readouterr().out == "nobody\n"


def test_people_are_listed_shut_out_let_in_and_signed_out(
    data: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert give_password(data, "Ana", monkeypatch) == 0
    assert main(["person", "add", "Rui", "--role", "viewer", "--site", "studio", *data]) == 0
    with closing(database(data).connect()) as connection:
        rui = person_named(connection, "Rui")
        open_session(connection, rui.id, address="", agent="", now_ms=1)
    capsys.readouterr()
    assert main(["person", "sign-out", "rui", *data]) == 0
    assert main(["person", "sign-out", "Ana", *data]) == 0
    assert main(["person", "disable", "RUI", *data]) == 0
    assert main(["person", "list", *data]) == 0
    assert main(["person", "enable", "Rui", *data]) == 0
    assert main(["person", "list", *data]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "ended 1 session of Rui",
        "ended 0 sessions of Ana",
        "shut out Rui",
        "Ana  owner of every site",
        "Rui  viewer of studio  shut out  invited",
        "let in Rui",
        "Ana  owner of every site",
        "Rui  viewer of studio  invited",
    ]
    assert [action for _, action, _ in actions(data)[:4]] == [
        "let in person",
        "shut out person",
        "sign out person",
        "sign out person",
    ]


def test_the_only_owner_is_not_shut_out(
    data: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert give_password(data, "Ana", monkeypatch) == 0
    before = actions(data)
    assert main(["person", "disable", "Ana", *data]) == 2
    assert "the only owner" in capsys.readouterr().err
    assert actions(data) == before


def test_a_new_link_begins_with_how_browsers_reach_us(
    data: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["person", "add", "Ana", "--role", "viewer", *data]) == 0
    monkeypatch.setenv("JOULEBOOK_PUBLIC_URL", "https://power.example.org")
    capsys.readouterr()
    assert main(["person", "link", "Ana", *data]) == 0
    assert capsys.readouterr().out.startswith("https://power.example.org/welcome/")
    assert actions(data)[0][1] == "make a welcome link"
    assert main(["person", "link", "Zoe", *data]) == 2


@pytest.mark.parametrize(
    ("host", "base"),
    [
        ("127.0.0.1", "http://127.0.0.1:8351/welcome/"),
        ("0.0.0.0", "http://127.0.0.1:8351/welcome/"),
        ("::1", "http://[::1]:8351/welcome/"),
        ("192.0.2.7", "http://192.0.2.7:8351/welcome/"),
    ],
)
def test_the_first_owner_s_link(
    data: list[str], host: str, base: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = database(data)
    link = first_owner_link(there, Settings(host=host), port=8351)
    assert link is not None
    assert link.startswith(base)
    with closing(there.connect()) as connection:
        assert welcome_of(connection, link.rpartition("/")[2], now_ms=1) is not None
    assert give_password(data, "Ana", monkeypatch) == 0
    assert first_owner_link(there, Settings(host=host), port=8351) is None
