"""How far numbers can be moved before check.py notices: ``python -m tests.measure_checker``.

Evidence files of simulated homes are made, and the true ones are checked first: none may be
called wrong. Then the numbers of some of them are pushed up and down in a copy, by the ways of
``tests/helpers/forged_evidence.py``, until the checker says WRONG. Printed: the smallest push that
is noticed, the median and the largest over homes and both directions, beside half of the file's
own interval.

``--files FOLDER`` takes folders of unpacked files instead of making them, ``--checker FOLDER`` the
check.py of another version. A forger makes sums anew and does not touch the readings: those parts
are checked of the true files only, and so is the PDF, in which the same numbers would be written.
"""

import argparse
import contextlib
import functools
import importlib
import io
import statistics
import sys
import tempfile
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

import joulebook.evidence
from joulebook.storage.events import KINDS, EventKind
from tests.helpers.forged_evidence import PUSHES, Forged, Push
from tests.helpers.home_evidence import home_evidence
from tests.helpers.homes import draw_homes, kept_homes

#: The sizes between which the smallest that is noticed is looked for, by halving their ratio.
SMALLEST, LARGEST, HALVINGS = 0.005, 2000.0, 7
#: The checker's own modules.
_MODULES = ("check", "check_numbers", "check_full", "check_nights", "check_capacity")
_TOUCHED_BY_NO_PUSH = ("check_files", "check_chain", "check_readings", "check_pdf")


def checker_in(folder: Path) -> ModuleType:
    """Return the check.py of a folder, imported anew."""
    for name in _MODULES:
        sys.modules.pop(name, None)
    with contextlib.ExitStack() as stack:
        sys.path.insert(0, str(folder))
        stack.callback(sys.path.remove, str(folder))
        return importlib.import_module("check")


def status(checker: ModuleType, folder: Path) -> tuple[int, str]:
    """Return what the checker says of a folder."""
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        return checker.main(folder), said.getvalue()


@contextlib.contextmanager
def hurried(checker: ModuleType) -> Iterator[None]:
    """Leave out what no push touches, and read a table once while it stays as it is."""
    numbers = sys.modules.get("check_numbers", checker)
    replaced: list[tuple[ModuleType, str, Callable[..., object]]]
    replaced = [(checker, name, lambda *_: True) for name in _TOUCHED_BY_NO_PUSH]
    for module in (checker, numbers):
        replaced += [(module, name, _once(numbers, name)) for name in ("columns", "readings")]
    with contextlib.ExitStack() as stack:
        for module, name, other in replaced:
            if hasattr(module, name):
                stack.callback(setattr, module, name, getattr(module, name))
                setattr(module, name, other)
        yield


def _once(module: ModuleType, name: str) -> Callable[[Path], object]:
    read = getattr(module, name, None)

    @functools.lru_cache(maxsize=8)
    def as_it_was(path: Path, _changed_ns: int) -> object:
        assert read is not None
        return read(path)

    return lambda path: as_it_was(path.resolve(), path.stat().st_mtime_ns)


def smallest(checker: ModuleType, file: Forged, push: Push, sign: int) -> float | None:
    """Return the smallest push that is noticed, within a tenth; ``None`` where none is."""

    def noticed(size: float) -> bool:
        file.restore()
        push.apply(file, size, sign)
        return status(checker, file.folder)[0] != 0

    low, high = SMALLEST, LARGEST if push.unit in ("h", "mA") else 50.0
    if not noticed(high):
        return None
    for _ in range(HALVINGS):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if noticed(middle) else (middle, high)
    return high


def own_half(file: Forged, push: Push) -> float | None:
    """Return half of the file's own interval in the push's unit, where it is that number's."""
    stated = file.results["headline"][push.number]
    half = (stated["high"] - stated["low"]) / 2
    if push.unit == "%":
        return float(100 * half / stated["value"])
    return {"points": 100 * half, "h": half}.get(push.unit)


def pushes_of(file: Forged, pushes: Sequence[Push]) -> Iterator[Push]:
    """Yield the ways in which a file can be pushed: those of numbers that it states."""
    headline = file.results["headline"]
    for push in pushes:
        if headline[push.number]["value"]:
            yield push


def table(rows: dict[str, list[tuple[float | None, float | None]]]) -> Iterator[str]:
    """Yield the lines of the table."""
    yield "| pushed | noticed from (median) | largest | not noticed | own half interval |"
    yield "| --- | --- | --- | --- | --- |"
    for words, sizes in rows.items():
        seen = [size for size, _ in sizes if size is not None]
        halves = [half for _, half in sizes if half is not None]
        cells = [
            f"{statistics.median(seen):.2g}" if seen else "",
            f"{max(seen):.2g}" if seen else "",
            f"{len(sizes) - len(seen)} of {len(sizes)}",
            f"{statistics.median(halves):.2g}" if halves else "",
        ]
        yield f"| {words} | {' | '.join(cells)} |"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Which homes are simulated.

    Attributes
    ----------
    homes, seed, years, step_s
        How many, from which seed, how long, and how often they are read. [years, s]
    kinds : tuple of str
        Of these kinds only; the first of four hundred.
    hotter_c : float
        Than they are drawn.
    event, missing
        As of `home_evidence`.
    """

    homes: int
    seed: int
    years: float
    step_s: int = 300
    kinds: tuple[str, ...] = ()
    hotter_c: float = 0.0
    event: EventKind | None = None
    missing: float = 0.0


def unpacked_homes(asked: Asked, folder: Path) -> Iterator[Path]:
    """Yield the unpacked evidence files of simulated homes."""
    count = 400 if asked.kinds else asked.homes
    drawn = draw_homes(count, seed=asked.seed, years=asked.years)
    drawn = [each for each in drawn if not asked.kinds or each.kind in asked.kinds]
    specs = [
        replace(
            each,
            step_s=asked.step_s,
            inner_s=asked.step_s,
            place=replace(each.place, mean_c=each.place.mean_c + asked.hotter_c),
        )
        for each in drawn[: asked.homes]
    ]
    for home in kept_homes(specs, folder / "homes"):
        place = folder / home.spec.name
        place.mkdir()
        file = home_evidence(home, place, event=asked.event, missing=asked.missing)
        with zipfile.ZipFile(file) as archive:
            archive.extractall(place / "unpacked")
        yield place / "unpacked"


def measure(
    files: Sequence[Path],
    checker: ModuleType,
    *,
    pushed: int,
    say: Callable[[str], object],
    pushes: Sequence[Push] = PUSHES,
) -> int:
    """Print what is called wrong of true files, and the table; return how many were."""
    accused, reasons = 0, Counter[str]()
    rows: dict[str, list[tuple[float | None, float | None]]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for number, path in enumerate(files):
            wrong, words = status(checker, path)
            accused += wrong
            lines = [line for line in words.splitlines() if line.startswith("WRONG")]
            reasons.update({line[5:].partition(":")[0].strip() for line in lines})
            say(f"{path.parent.name}: {'; '.join(lines) if lines else 'all of it agrees'}")
            if number < pushed and not wrong:
                file = Forged(path, Path(folder) / str(number))
                with hurried(checker):
                    for push in pushes_of(file, pushes):
                        found = rows.setdefault(f"{push.name}, {push.unit}", [])
                        half = own_half(file, push)
                        found += [(smallest(checker, file, push, sign), half) for sign in (1, -1)]
    say(f"true files called wrong: {accused} of {len(files)}")
    for reason, count in reasons.most_common():
        say(f"  {count} by {reason}")
    for line in table(rows):
        say(line)
    return accused


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; 1 where a true file is called wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--homes", type=int, default=20)
    parser.add_argument("--pushed", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--years", type=float, default=2.0)
    parser.add_argument("--step", type=int, default=300)
    parser.add_argument("--kinds", default="", help="such as tested,never-low")
    parser.add_argument("--hotter", type=float, default=0.0)
    parser.add_argument("--event", choices=KINDS)
    parser.add_argument("--missing", type=float, default=0.0)
    parser.add_argument("--files", type=Path)
    parser.add_argument("--checker", type=Path)
    asked = parser.parse_args(arguments)
    checker = checker_in(asked.checker or Path(joulebook.evidence.__path__[0]))

    def say(line: str) -> None:
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()

    with tempfile.TemporaryDirectory() as folder:
        if asked.files:
            files = sorted(path.parent for path in asked.files.rglob("manifest.txt"))
        else:
            homes = Asked(
                homes=asked.homes,
                seed=asked.seed,
                years=asked.years,
                step_s=asked.step,
                kinds=tuple(filter(None, asked.kinds.split(","))),
                hotter_c=asked.hotter,
                event=asked.event,
                missing=asked.missing,
            )
            files = list(unpacked_homes(homes, Path(folder)))
        return min(measure(files, checker, pushed=asked.pushed, say=say), 1)


if __name__ == "__main__":
    sys.exit(main())
