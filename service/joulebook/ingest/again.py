"""What was set aside, as a message that is tried again.

The clock may be right by now, the site known, the mapping there, a fault of ours mended.
"""

from collections.abc import Callable

from joulebook.ingest.message import Message
from joulebook.storage.records import Quarantined

#: Never tried again: who sent it may not write there, whatever has changed since.
NEVER = frozenset({"site-not-allowed"})


def again(kept: Quarantined, name_of: Callable[[int], str | None], now_ms: int) -> Message:
    """Return what was set aside as a message, bound to the site that it was kept for.

    Parameters
    ----------
    name_of : callable
        The name of a site by its id.
    now_ms : int
        Now. Readings that were ahead of the time of receipt are held against this; any other
        message keeps its time of receipt, for readings without a time have that one.
        [ms, UTC epoch]
    """
    refused = kept.refused
    site = None if refused.site_id is None else name_of(refused.site_id)
    return Message(
        topic=refused.topic,
        payload=refused.payload,
        received_ms=now_ms if refused.reason == "time-ahead" else refused.received_ms,
        source=refused.source,
        site=site,
        site_id=None if site is None else refused.site_id,
    )
