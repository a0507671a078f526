"""Who runs in turn where several workers share the tests: the rule is the house's own."""

import pytest

from joulebook import bench
from joulebook.bench import serving
from tests.faults import crowds, kills
from tests.helpers import alone, browser, forms, pages, service
from tests.helpers.alone import ALONE, group_of, starts_processes


@pytest.fixture
def tab() -> str:
    """Stand for the browser: the rule asks for the name only."""
    return "a tab"


@pytest.fixture
def store() -> str:
    """Stand for a database server, likewise."""
    return "a store"


def test_what_starts_processes_is_known_by_what_it_uses() -> None:
    # `subprocess` itself, through one helper, and through several; and a part of the product.
    for module in (service, kills, crowds, serving):
        assert starts_processes(module.__name__)
    for module in (alone, forms, pages, browser, bench):
        assert not starts_processes(module.__name__)


def test_a_test_that_uses_such_a_helper_runs_in_turn(request: pytest.FixtureRequest) -> None:
    assert group_of(request.node) == ALONE  # this file has imported some


def test_so_does_one_that_uses_the_one_browser(
    request: pytest.FixtureRequest, tab: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(alone, "starts_processes", lambda _: False)
    assert tab
    assert group_of(request.node) == ALONE


@pytest.mark.outside
def test_so_does_one_that_needs_another_program(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(alone, "starts_processes", lambda _: False)
    assert group_of(request.node) == ALONE


@pytest.mark.outside
def test_one_that_asks_a_database_server_goes_with_its_file(
    request: pytest.FixtureRequest, store: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(alone, "starts_processes", lambda _: False)
    assert store
    assert group_of(request.node) == "tests/test_alone.py"


def test_all_others_go_with_their_file(
    request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(alone, "starts_processes", lambda _: False)
    assert group_of(request.node) == "tests/test_alone.py"
