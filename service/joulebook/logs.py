"""Logs for a person: one line an event on standard error, UTC, no colour codes."""

import logging
import sys
import time


def set_up_logs(level: str) -> None:
    """Send everything of ``level`` and above to standard error."""
    formatter = logging.Formatter(
        "%(asctime)sZ %(levelname)-7s %(name)s: %(message)s", datefmt="%Y-%m-%dT%H:%M:%S"
    )
    formatter.converter = time.gmtime
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(formatter)
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level.upper())
    # Other people's libraries speak up only when something is wrong.
    for name in ("alembic", "uvicorn", "asyncio"):
        logging.getLogger(name).setLevel(logging.WARNING)
