"""Was the machine quiet? What it was busy with besides the benchmark itself."""

import os
import resource
import time
from dataclasses import dataclass
from pathlib import Path

_STAT = Path("/proc/stat")
#: Share of all cores' time that others may take before the figures are in doubt (our choice).
QUIET_RATIO = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Quietness:
    """What else the machine did.

    Attributes
    ----------
    load_before, load_after : float
        Processes that ran or waited, as a mean of the last minute; afterwards our own too.
    others_ratio : float or None
        Share of all cores' time that other processes took; ``None`` where /proc/stat is not.
    stolen_ratio : float or None
        Share that the machine underneath kept for itself.
    """

    load_before: float
    load_after: float
    others_ratio: float | None
    stolen_ratio: float | None

    @property
    def quiet(self) -> bool | None:
        """Whether the figures can be trusted; ``None``: unknown."""
        if self.others_ratio is None or self.stolen_ratio is None:
            return None
        return self.others_ratio + self.stolen_ratio <= QUIET_RATIO

    def words(self) -> str:
        """Say it in a sentence."""
        load = f"load average {self.load_before:.2f} before, {self.load_after:.2f} after"
        if self.others_ratio is None or self.stolen_ratio is None:
            return f"{load}; what others took is not known on this system"
        taken = f"others took {self.others_ratio:.1%} of the cores' time"
        if self.stolen_ratio >= 0.001:
            taken += f" and the host {self.stolen_ratio:.1%}"
        verdict = "quiet" if self.quiet else "NOT QUIET: run it again before believing a figure"
        return f"{load}; {taken}: {verdict}"


class Watch:
    """Looks at the machine from its making to :meth:`end`."""

    def __init__(self, stat: Path = _STAT) -> None:
        self._stat = stat
        self._load = os.getloadavg()[0]
        self._began_s = time.monotonic()
        self._ticks = _ticks(stat)
        self._own_s = _own_s()

    def end(self, beside_s: float = 0.0) -> Quietness:
        """Return what it saw.

        Parameters
        ----------
        beside_s : float
            Processor time since then of children that still run: they are no others. [s]
        """
        others = stolen = None
        ticks = _ticks(self._stat)
        if ticks is not None and self._ticks is not None:
            per_s = os.sysconf("SC_CLK_TCK")
            busy_s, stolen_s = (
                (after - before) / per_s for before, after in zip(self._ticks, ticks, strict=True)
            )
            room_s = (time.monotonic() - self._began_s) * (os.cpu_count() or 1)
            # Ticks are coarse: a quiet second may seem to hold less than we took ourselves.
            others = max(busy_s - (_own_s() - self._own_s) - beside_s, 0.0) / room_s
            stolen = stolen_s / room_s
        return Quietness(
            load_before=self._load,
            load_after=os.getloadavg()[0],
            others_ratio=others,
            stolen_ratio=stolen,
        )


def _ticks(stat: Path) -> tuple[int, int] | None:
    """Return the ticks that all cores were busy, and those stolen (proc(5), /proc/stat)."""
    try:
        first = stat.read_text(encoding="ascii").splitlines()[0]
    except OSError:
        return None
    user, nice, system, _idle, _iowait, irq, softirq, steal = map(int, first.split()[1:9])
    return user + nice + system + irq + softirq, steal


def _own_s() -> float:
    """Return the processor time of this process and of its children that have ended. [s]"""
    own = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(each.ru_utime + each.ru_stime for each in own)
