"""How a run over many homes went."""

from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.crew.tasks import Done, Failed
from joulebook.errors import JoulebookError

#: So many homes are named in one sentence; the rest is counted.
_NAMED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What came of the tasks of a run.

    Attributes
    ----------
    done, failed : tuple
        Of each task that was ended, in the order of their ends.
    left : int
        Tasks that were not ended: the run was, before.
    repeated : int
        Tries that failed and were made again.
    ended_by : JoulebookError or None
        What ended the run before its time: the scheduler went away, say.
    interrupted : bool
        Whether a person ended it.
    took_s : float
        [s]
    """

    done: tuple[Done, ...]
    failed: tuple[Failed, ...]
    left: int
    repeated: int
    ended_by: JoulebookError | None
    interrupted: bool
    took_s: float

    @property
    def days(self) -> int:
        """How many days were computed."""
        return sum(each.days for each in self.done)


def failed_sentence(failed: Sequence[Failed]) -> str:
    """Return which homes failed and why the first one did."""
    names = ", ".join(each.site for each in failed[:_NAMED])
    more = f" and {len(failed) - _NAMED} more" if len(failed) > _NAMED else ""
    return f"{names}{more} (first: {failed[0].why})"
