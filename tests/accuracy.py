"""How right the product's numbers are, on simulated homes with known truth.

    python -m tests.accuracy --homes 200 --seed 1 --years 3 --write docs/accuracy.md

Homes are simulated once and kept in a folder; asking again after a change of the product takes
only the analysis.
"""

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

from tests.accuracy_answers import Score, scores
from tests.accuracy_tables import page
from tests.helpers.homes import HomeSpec, draw_homes, kept_homes
from tests.helpers.homes.kept import path_of

_PROCESSES = 2
_TOGETHER = 40


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return 0."""
    asked = _parser().parse_args(arguments)
    started = time.monotonic()
    specs = draw_homes(asked.homes, seed=asked.seed, years=asked.years)
    anew = sum(not path_of(spec, asked.cache).exists() for spec in specs)
    found = all_scores(specs, asked.cache, processes=asked.processes)
    minutes = (time.monotonic() - started) / 60
    took = (
        f"It took {minutes:.0f} minutes; processes: {asked.processes}; {anew} of the homes were "
        "simulated anew, the others kept from an earlier run."
    )
    text = page(found, command=_command(asked), took=took)
    if asked.write is not None:
        asked.write.write_text(text, encoding="utf-8")
    sys.stdout.write(text)
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("--homes", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--years", type=float, default=3.0)
    parser.add_argument("--processes", type=int, default=_PROCESSES, choices=(1, 2))
    parser.add_argument(
        "--cache", type=Path, default=Path(tempfile.gettempdir()) / "joulebook-homes"
    )
    parser.add_argument("--write", type=Path, help="such as docs/accuracy.md")
    return parser


def _command(asked: argparse.Namespace) -> str:
    which = f"--homes {asked.homes} --seed {asked.seed} --years {asked.years:g}"
    return f"python -m tests.accuracy {which}"


def all_scores(specs: Sequence[HomeSpec], cache: Path, *, processes: int) -> list[Score]:
    """Return the scores of all homes, in their order whatever the number of processes."""
    # Alike homes together: the simulation goes through those of one step at once.
    alike = sorted(specs, key=lambda spec: (spec.inner_s, spec.years))
    size = min(_TOGETHER, -(-len(alike) // processes))
    parts = [alike[first : first + size] for first in range(0, len(alike), size)]
    work = partial(_scores_of, cache=cache)
    if processes == 1:
        done = list(map(work, parts))
    else:
        # New interpreters, so that they see how many threads each may use.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
            done = list(pool.map(work, parts))
    order = {spec.name: place for place, spec in enumerate(specs)}
    found = [score for part in done for score in part]
    return sorted(found, key=lambda score: order[score.facts.home])


def _scores_of(specs: Sequence[HomeSpec], *, cache: Path) -> list[Score]:
    return [score for home in kept_homes(specs, cache) for score in scores(home)]


if __name__ == "__main__":
    sys.exit(main())
