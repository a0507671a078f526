"""Which tests run in turn while others run beside them: ``pytest -n 2 --dist loadgroup``.

A test that starts processes waits for them, and waits longer where another does so at the same
time. All of those, and those that use the demonstration or the browser, are one group of
pytest-xdist (https://pytest-xdist.readthedocs.io/en/stable/distribution.html), which is never split
between workers. What is left goes by file, so that no file's fixtures are made twice.
"""

import sys
from functools import cache
from types import ModuleType

import pytest

#: The group of those that run in turn.
ALONE = "alone"
_STARTERS = ("subprocess", "multiprocessing")
#: Fixtures of a whole run, too dear to be made by each worker.
_DEAR = {"demo_data", "tab"}
#: A database server is started once a worker, and serves many tests of one process each.
_SERVED = {"postgres", "store"}


def group_of(item: pytest.Item) -> str:
    """Return the group that a test runs in."""
    used = set(getattr(item, "fixturenames", ()))
    dear = bool(used & _DEAR)
    outside = item.get_closest_marker("outside") is not None and not used & _SERVED
    module = item.getparent(pytest.Module)
    assert module is not None
    starts = starts_processes(module.obj.__name__)
    return ALONE if dear or outside or starts else module.nodeid


@cache
def starts_processes(name: str) -> bool:
    """Return whether a module starts processes, or a test's module uses one that does."""
    used = {_home(value) for value in vars(sys.modules[name]).values()} - {name, ""}
    if not used.isdisjoint(_STARTERS):
        return True
    # What the product does inside is its own affair: of its modules, only those that a test names.
    return name.startswith("tests.") and any(
        starts_processes(each) for each in used if each.startswith(("tests.", "joulebook"))
    )


def _home(value: object) -> str:
    """Return the module that a value is, or was made in."""
    home = value.__name__ if isinstance(value, ModuleType) else getattr(value, "__module__", "")
    return home if home in sys.modules else ""
