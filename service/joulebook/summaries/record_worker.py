"""A process that analyses one site's record, stores the result and ends.

A record of ten years takes some hundred megabytes while it is analysed: none of them stay with
the service.
"""

import contextlib
import os
import sys
import time
from pathlib import Path

from joulebook.errors import JoulebookError
from joulebook.storage.catalogue import site_named
from joulebook.storage.database import Database, server_of
from joulebook.summaries.record_update import update_record


def main(data_dir: Path, site: str, max_gap_s: float) -> int:
    """Analyse the site's record, politely: everything else comes first; return the exit status."""
    with contextlib.suppress(AttributeError, OSError):  # Windows has none
        os.nice(10)
    database = Database(data_dir, server_of(os.environ))
    try:
        update_record(
            database,
            site_named(database, site),
            clock_ms=lambda: time.time_ns() // 1_000_000,
            max_gap_s=max_gap_s,
        )
    except JoulebookError as error:  # a full disk, say: no fault of ours, and tried again
        sys.stderr.write(f"{error}\n")
        return error.exit_status
    finally:
        database.close()
    return 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), sys.argv[2], float(sys.argv[3])))
