"""All days of a site, computed anew from its readings."""

from collections.abc import Callable, Generator, Sequence
from contextlib import closing, nullcontext
from datetime import date

from joulebook.core.curves import MAX_GAP_S
from joulebook.errors import DataRefusedError
from joulebook.storage.database import Database, transaction
from joulebook.storage.days import clear_results, dirty_days, save_day
from joulebook.storage.records import Site
from joulebook.summaries.processes import WORTH_DAYS, with_helper
from joulebook.summaries.stretches import Failed, Results, Stretch, compute_encoded, stretches
from joulebook.summaries.threads import in_threads

#: More than the days of all sites that one file will see.
ALL_DAYS = 1_000_000
#: What is computed and saved at once: little enough that two who compute end together. [days]
TASK_DAYS = 14
#: How many such results may wait for those before them, a few kilobytes a day.
_AHEAD = 6


def recompute(
    database: Database,
    site: Site,
    *,
    clock_ms: Callable[[], int],
    max_gap_s: float = MAX_GAP_S,
    progress: Callable[[int, int], None] | None = None,
    helped: bool = True,
) -> int:
    """Drop a site's results and compute every day that its readings reach.

    What is stopped half-way is finished by the service: the days that are left stay dirty.

    Parameters
    ----------
    clock_ms : callable
        Now, to note when a day was computed. [ms, UTC epoch]
    max_gap_s : float
        No integral bridges more. [s]
    progress : callable, optional
        Told after each stretch how many days are done, of how many.
    helped : bool
        Whether a second process computes too where days are many; else this one has it all.

    Returns
    -------
    int
        How many days were computed.

    Raises
    ------
    DataRefusedError
        If days could not be computed. All others were.
    """
    with closing(database.connect()) as connection:
        clear_results(connection, site.id)
    return catch_up(
        *(database, site),
        clock_ms=clock_ms,
        max_gap_s=max_gap_s,
        progress=progress,
        helped=helped,
    )


def catch_up(
    database: Database,
    site: Site,
    *,
    clock_ms: Callable[[], int],
    max_gap_s: float = MAX_GAP_S,
    progress: Callable[[int, int], None] | None = None,
    helped: bool = True,
) -> int:
    """Compute the days of a site whose results are behind its readings, as :func:`recompute` does.

    The running service does so by itself.
    """
    with closing(database.connect()) as connection:
        marks = {
            dirty.day: dirty.mark for dirty in dirty_days(connection, ALL_DAYS, site_id=site.id)
        }
        done, failed = 0, list[Failed]()
        computed = _computed(database, site, list(marks), max_gap_s=max_gap_s, helped=helped)
        # Closed here, however this ends: its threads and its process end with it.
        with closing(computed):
            for results in computed:
                with transaction(connection, [site.id]):
                    for result in results:
                        if isinstance(result, Failed):
                            failed.append(result)
                            continue
                        save_day(
                            connection,
                            site.id,
                            result.day,
                            result.method,
                            result.result_json,
                            marks[result.day],
                            clock_ms(),
                        )
                        done += 1
                if progress is not None:
                    progress(done + len(failed), len(marks))
    if failed:
        raise DataRefusedError(
            f"{len(failed)} of {len(marks)} days could not be computed, first {failed[0].day}",
            where=f"site {site.name}",
            expected="readings that every method can take",
            next_step=f"report this with the log above ({failed[0].why})",
        )
    return done


def _computed(
    database: Database, site: Site, days: Sequence[date], *, max_gap_s: float, helped: bool
) -> Generator[Results, None, None]:
    """Yield the results of stretches in their order, computed on two threads or processes."""

    def compute(stretch: Stretch) -> Results:
        with closing(database.connect()) as connection:
            return compute_encoded(connection, stretch)

    parts = (
        Stretch(site=site, days=part, max_gap_s=max_gap_s) for part in stretches(days, TASK_DAYS)
    )
    if not helped:
        yield from map(compute, parts)
        return
    with (
        with_helper(database, compute) if len(days) > WORTH_DAYS else nullcontext(compute)
    ) as whichever:
        yield from in_threads(whichever, parts, ahead=_AHEAD)
