from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher

from joulebook.storage import passwords
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.reading import latest_readings
from joulebook.web.words.newest import last_heard_ms
from tests.helpers.analysed_sites import long_studio, shallow_studio, short_studio
from tests.helpers.browser import Page, opened_page
from tests.helpers.pages import Studio, client_of, empty_studio, measured_studio
from tests.helpers.postgres import PostgresServer
from tests.helpers.priced_studio import priced_pages, self_serving_pages
from tests.helpers.served import served
from tests.helpers.visitors import Door, opened_door

_QUICK = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)


@pytest.fixture(autouse=True)
def _quick_passwords(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Hash passwords with little work: what pages do with them does not hang on it.

    What they are hashed with in earnest is held by tests/service/storage/test_passwords.py.
    """
    monkeypatch.setattr(passwords, "_HASHER", _QUICK)
    passwords._nobody_s.cache_clear()
    yield
    passwords._nobody_s.cache_clear()


@pytest.fixture(params=["file", pytest.param("server", marks=pytest.mark.outside)])
def opened(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Callable[..., Door]]:
    """Open a service over each store: on a server, its own wall must not keep out who may come."""
    server: ServerPlace | None = None
    if request.param == "server":
        postgres: PostgresServer = request.getfixturevalue("postgres")
        server = postgres.emptied_place()
    with ExitStack() as doors:

        def door(**given: Any) -> Door:
            made = opened_door(tmp_path, server=server, **given)
            doors.callback(made.database.close)
            return made

        yield door


@pytest.fixture(scope="session")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """The studio of round numbers. Read it only: all tests of the pages share it."""
    return measured_studio(tmp_path_factory.mktemp("studio"))


@pytest.fixture
def empty(tmp_path: Path) -> Studio:
    """A studio that waits for its first reading."""
    return empty_studio(tmp_path)


@pytest.fixture(scope="session")
def short(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Fifty analysed days with two events. Read it only."""
    return short_studio(tmp_path_factory.mktemp("short"))


@pytest.fixture(scope="session")
def long(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """More than an analysed year, with a warranty's terms. Read it only."""
    return long_studio(tmp_path_factory.mktemp("long"))


@pytest.fixture(scope="session")
def shallow(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """A battery that never gets low, so that its capacity is refused. Read it only."""
    return shallow_studio(tmp_path_factory.mktemp("shallow"))


@pytest.fixture(scope="session")
def demo(demo_data: Path) -> Studio:
    """The demonstration, a second after its newest reading. Read it only."""
    database = Database.open(demo_data)
    site = site_named(database, "studio")
    with closing(database.connect()) as connection:
        heard_ms = last_heard_ms(latest_readings(connection, site.id))
    assert heard_ms is not None
    return Studio(client_of(database, now_ms=heard_ms + 1000), database, site)


@pytest.fixture(scope="session")
def addresses(
    demo: Studio, studio: Studio, shallow: Studio, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[dict[str, str]]:
    """Where sites of each kind are served; the one on a bad line is that with gaps."""
    sites = {
        "demo": demo,
        "empty": empty_studio(tmp_path_factory.mktemp("empty")),
        "gaps": studio,
        "refused": shallow,
        "bad-line": studio,
    }
    with ExitStack() as stack:
        yield {name: stack.enter_context(served(each.client.app)) for name, each in sites.items()}


@pytest.fixture(scope="session")
def tab() -> Iterator[Page]:
    """One browser for all tests of the pages."""
    with opened_page() as page:
        yield page


@pytest.fixture(scope="session")
def priced(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Eight days with a tariff. Read it only."""
    return priced_pages(tmp_path_factory.mktemp("priced"))


@pytest.fixture(scope="session")
def self_serving(tmp_path_factory: pytest.TempPathFactory) -> Studio:
    """Thirty days that a simulation of the battery tells well enough. Read it only."""
    return self_serving_pages(tmp_path_factory.mktemp("self_serving"))
