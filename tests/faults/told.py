"""What a fault did, as a row of a table."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What came of a fault.

    Attributes
    ----------
    fault : str
        What was done.
    rounds, struck : int
        How often, and how often in the middle of what it was aimed at.
    sent, acknowledged, stored : int
        Readings: given to a bridge or published, answered for, and found in the end. What was
        set aside with its reason counts as stored, for it is.
    lost, doubled : int
        Readings that are nowhere, and that are there more than once.
    note : str
        What else is to be known, for a person.
    """

    fault: str
    rounds: int
    struck: int
    sent: int
    acknowledged: int
    stored: int
    lost: int
    doubled: int
    note: str = ""

    @property
    def whole(self) -> bool:
        """Whether nothing was lost and nothing doubled."""
        return self.lost == 0 and self.doubled == 0


def counted(
    fault: str,
    sent: Iterable[int],
    stored: Iterable[int],
    *,
    rounds: int = 1,
    struck: int | None = None,
    acknowledged: int | None = None,
    note: str = "",
) -> Told:
    """Count numbered readings: each was sent once, and each must be there once."""
    numbers, found = set(sent), list(stored)
    return Told(
        fault=fault,
        rounds=rounds,
        struck=rounds if struck is None else struck,
        sent=len(numbers),
        acknowledged=len(numbers) if acknowledged is None else acknowledged,
        stored=len(set(found)),
        lost=len(numbers - set(found)),
        doubled=len(found) - len(set(found)) + len(set(found) - numbers),
        note=note,
    )


def summed(fault: str, rows: list[Told], *, lost: int = 0, note: str = "") -> Told:
    """Return the sum of rows, and what else was lost."""
    return Told(
        fault=fault,
        rounds=sum(row.rounds for row in rows),
        struck=sum(row.struck for row in rows),
        sent=sum(row.sent for row in rows),
        acknowledged=sum(row.acknowledged for row in rows),
        stored=sum(row.stored for row in rows),
        lost=sum(row.lost for row in rows) + lost,
        doubled=sum(row.doubled for row in rows),
        note=note,
    )


def table(rows: Iterable[Told]) -> str:
    """Return the rows as a table in Markdown."""
    lines = [
        "| fault | rounds | in the middle | in | acknowledged | out | lost | doubled | note |",
        "| --- | --: | --: | --: | --: | --: | --: | --: | --- |",
    ]
    for row in rows:
        numbers = (row.sent, row.acknowledged, row.stored, row.lost, row.doubled)
        counts = " | ".join(f"{number:,}" for number in numbers)
        lines.append(f"| {row.fault} | {row.rounds} | {row.struck} | {counts} | {row.note} |")
    return "\n".join(lines)
