"""Times of readings that were taken before the clock was set."""

import logging

from joulebook_bridge.batch import Instant
from joulebook_bridge.spool.segments import ASIDE, READY, Segment

_LOG = logging.getLogger(__name__)
#: A clock that is nudged into place moves by half a millisecond in a second; this is being set.
_STEP_MS = 500


def is_step(change_ms: int) -> bool:
    """Tell whether the wall's clock was set, against that of the machine."""
    return abs(change_ms) >= _STEP_MS


def correct(segment: Segment, boot: str, now: Instant, latest_ms: int) -> int:
    """Decide what becomes of a file whose clock nobody had set, and return its correction. [ms]

    The machine's own clock runs on from one start to the next shutdown. A file of this start is
    corrected by how far the wall's clock has been set since. Of a file of an earlier start nobody
    knows that; its times are taken as they are if they fall between the latest that was known to
    be right and now, and else it is put aside.
    """
    header = segment.header or segment.read().header
    if header is None:
        _LOG.error("%s does not say when it was begun: it is kept and not sent", segment.path)
        segment.become(ASIDE)
        return 0
    if header.boot == boot:
        shift_ms = now.offset_ms - header.at.offset_ms
        segment.become(READY, shift_ms if is_step(shift_ms) else 0)
        if segment.shift_ms:
            _LOG.warning(
                "%d readings were taken before the clock was set: their times are corrected by "
                "%+.1f s",
                *(segment.readings, segment.shift_ms / 1000),
            )
        return segment.shift_ms
    if latest_ms <= header.at.wall_ms <= now.wall_ms:
        segment.become(READY)
        return 0
    segment.become(ASIDE)
    _LOG.error(
        "%d readings in %s are of a time that nobody knows: the clock was never set while the "
        "machine ran. They are kept and not sent",
        *(segment.readings, segment.path),
    )
    return 0
