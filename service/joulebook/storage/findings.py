"""What a look at a database found."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from joulebook.storage.faults import DatabaseDamagedError

#: Says what is wrong with a day's result of a method, ``None`` where nothing is.
ResultFault = Callable[[str, bytes], str | None]


@dataclass(slots=True)
class Findings:
    """What was looked at, with counts, and what is damaged: a sentence for each."""

    checked: dict[str, int] = field(default_factory=dict)
    damage: list[str] = field(default_factory=list)

    def refuse_damage(self, where: Path | str) -> None:
        """Raise where something is damaged.

        Raises
        ------
        DatabaseDamagedError
            It tells the first of them, and how many there are.
        """
        if not self.damage:
            return
        more = len(self.damage) - 1
        raise DatabaseDamagedError(
            f"the database is damaged: {self.damage[0]}{f' (and {more} more)' if more else ''}",
            where=where,
            expected="a database as joulebook wrote it",
            next_step='see docs/operating.md, "When a file is damaged"',
        )
