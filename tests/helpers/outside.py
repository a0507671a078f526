"""Programs that pip does not install, and what else a test may have to do without."""

import os
import shutil
from typing import NoReturn

import pytest


def needs_program(name: str) -> str:
    """Return the path of a program; without it skip the test, or fail where all must be there.

    ``REQUIRE_OUTSIDE=1`` says that they must. Mark such tests ``outside``.
    """
    path = shutil.which(name, path=f"{os.environ['PATH']}:/usr/sbin:/usr/local/sbin")
    if path is None:
        is_absent(f"{name} is not installed")
    return path


def is_absent(what: str) -> NoReturn:
    """Skip the test for want of something, or fail it where all must be there."""
    if os.environ.get("REQUIRE_OUTSIDE") == "1":
        pytest.fail(f"{what}, and REQUIRE_OUTSIDE=1 asks for it")
    pytest.skip(what)
