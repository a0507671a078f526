"""Do all faults and print the table: ``python -m tests.faults [--rounds 100] [--seed 1]``."""

import argparse
import sys
import tempfile
from pathlib import Path

from tests.faults.kills import kill_rounds
from tests.faults.told import table


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=100, help="of kill -9 in all")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        rows = kill_rounds(Path(name), options.rounds, options.seed)
    sys.stdout.write(table(rows) + "\n")
    return 0 if all(row.whole for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
