"""A process that makes one evidence file and ends: the memory that it takes goes with it."""

import contextlib
import os
import sys
import time
from pathlib import Path
from typing import cast

from joulebook import __version__
from joulebook.errors import JoulebookError
from joulebook.evidence.file import Paper, make_evidence
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database, server_of


def main(data_dir: Path, site: str, file: Path, paper: str, max_gap_s: float) -> int:
    """Make the file, politely, and return the exit status; what went wrong goes to stderr."""
    with contextlib.suppress(AttributeError, OSError):  # Windows has none
        os.nice(10)
    database = Database(data_dir, server_of(os.environ))
    try:
        make_evidence(
            database,
            site_named(database, site),
            file,
            clock_ms=lambda: time.time_ns() // 1_000_000,
            version=__version__,
            max_gap_s=max_gap_s,
            paper=cast(Paper, paper),
        )
    except JoulebookError as error:
        sys.stderr.write(f"{error.what}\n")
        return error.exit_status
    finally:
        database.close()
    return 0


if __name__ == "__main__":
    sys.exit(
        main(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]), sys.argv[4], float(sys.argv[5]))
    )
