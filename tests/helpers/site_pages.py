"""Every page of the product by rule, not by name: what a browser opens with a site's name alone."""

import importlib
import pkgutil
import re
from collections.abc import Iterator
from functools import cache

from fastapi.routing import APIRouter
from starlette.routing import Route

from joulebook.web import pages
from joulebook.web.navigation import ENTRIES

#: No pages: what one fetches, and what machines ask.
_FETCHED = re.compile(r"/figures/|\.\w+$|^/(healthz|readyz|metrics)$")


@cache
def paths() -> tuple[str, ...]:
    """Return the path of every page that needs no more than a site, ``{site}`` in its place."""
    found = {
        route.path
        for router in _routers()
        for route in router.routes
        if isinstance(route, Route) and "GET" in (route.methods or ())
    }
    fit = {path for path in found if set(re.findall(r"{(\w+)", path)) <= {"site"}}
    return tuple(sorted(path for path in fit if not _FETCHED.search(path)))


def paths_of_the_row() -> tuple[str, ...]:
    """Return the paths of the row at the top, in its order."""
    there = set(paths())
    return tuple(path for entry in ENTRIES if (path := entry.address("{site}")) in there)


def other_paths() -> tuple[str, ...]:
    """Return the paths of all other pages."""
    return tuple(path for path in paths() if path not in paths_of_the_row())


def _routers() -> Iterator[APIRouter]:
    for module in pkgutil.walk_packages(pages.__path__, f"{pages.__name__}."):
        router = getattr(importlib.import_module(module.name), "router", None)
        if isinstance(router, APIRouter):
            yield router
