"""Programs that pip does not install."""

import os
import shutil

import pytest


def needs_program(name: str) -> str:
    """Return the path of a program; without it skip the test, or fail where all must be there.

    ``REQUIRE_OUTSIDE=1`` says that they must. Mark such tests ``outside``.
    """
    path = shutil.which(name, path=f"{os.environ['PATH']}:/usr/sbin:/usr/local/sbin")
    if path is not None:
        return path
    if os.environ.get("REQUIRE_OUTSIDE") == "1":
        pytest.fail(f"{name} is not installed, and REQUIRE_OUTSIDE=1 asks for it")
    pytest.skip(f"{name} is not installed")
