"""Everybody is given the same readings, week by week and by turns."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from joulebook.bench.ours import Joulebook, Packing
from joulebook.bench.questions import Taker
from joulebook.bench.report import OURS, Row
from joulebook.bench.rivals import Rivals, no_rivals, rivals_in
from joulebook.bench.rounds import Spread, by_turns
from joulebook.bench.site import Piece, Plan, pieces, readings_in
from joulebook.bench.truth import Truth

ROWS = "SQLite rows"


@dataclass(slots=True)
class Filled:
    """Those that hold the readings, and how fast they took them in. [readings/s]"""

    ours: Joulebook
    rivals: Rivals
    packing: Packing = field(default_factory=Packing)
    load: dict[str, list[float]] = field(default_factory=dict)
    seal: list[float] = field(default_factory=list)
    day_bytes: int = 0

    def close(self) -> None:
        """Close everybody."""
        self.ours.close()
        self.rivals.close()


def fill(
    plan: Plan, folder: Path, truth: Truth, advance: Callable[[], None], *, alone: bool
) -> Filled:
    """Generate the site and let everybody keep it, or joulebook alone, which seals by day."""
    rivals = no_rivals() if alone else rivals_in(folder)
    filled = Filled(Joulebook(folder / "joulebook", plan.span), rivals)
    for number, piece in enumerate(pieces(plan)):
        truth.keep(piece)
        _keep(filled, number, piece)
        advance()
    for writer in filled.rivals.writers:
        writer.finish()
    filled.day_bytes = filled.ours.block_bytes()
    return filled


def _keep(filled: Filled, number: int, piece: Piece) -> None:
    readings = readings_in(piece)
    writers: list[Taker] = [filled.ours, filled.packing, *filled.rivals.writers]
    asked = {each.name: _writing(each.write, piece) for each in writers}
    for name, took_s in by_turns(asked, 1, first=number).items():
        filled.load.setdefault(name, []).append(readings / took_s[0])
    sealed = by_turns({OURS: lambda _: filled.ours.seal_days()}, 1)
    filled.seal.append(readings / sealed[OURS][0])


def _writing(write: Callable[[Piece], None], piece: Piece) -> Callable[[int], None]:
    return lambda _: write(piece)


def load_rows(filled: Filled) -> list[Row]:
    """Return how fast the readings went in."""
    return [
        Row(
            key="load",
            title="load, arrays of a week at a time (joulebook: into hot rows)",
            unit="readings/s",
            better="more",
            results={name: Spread.of(rates) for name, rates in filled.load.items()},
            baseline=ROWS,
        ),
        Row(
            key="seal",
            title="seal, from hot rows in the file to blocks in the file",
            unit="readings/s",
            better="more",
            results={OURS: Spread.of(filled.seal)},
        ),
    ]


def bytes_row(key: str, title: str, filled: Filled, readings: int, own_bytes: int) -> Row:
    """Return what a reading takes: ours as given, the others' files as they are."""
    sizes = {OURS: own_bytes} | {each.name: each.size_bytes() for each in filled.rivals.writers}
    return Row(
        key=key,
        title=title,
        unit="B/reading",
        better="less",
        results={name: Spread.of([size / readings]) for name, size in sizes.items()},
        baseline=ROWS,
    )
