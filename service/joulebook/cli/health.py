"""Puts what every part says of itself into one answer for /readyz and /metrics."""

from joulebook.ingest.inbox import InboxCounts
from joulebook.ingest.mqtt.roster import ListenerCounts
from joulebook.storage.sealer import SealerCounts
from joulebook.summaries.analyst import AnalystCounts
from joulebook.summaries.summariser import SummariserCounts
from joulebook.web.health import Health


def health_of(
    inbox: InboxCounts,
    listener: ListenerCounts,
    summaries: SummariserCounts,
    sealing: SealerCounts,
    analysis: AnalystCounts,
    *,
    broker_connected: bool | None,
) -> Health:
    """Return how the service does; ready means that a reading sent now would be kept."""
    problems = []
    if not inbox.alive:
        problems.append("the writer has stopped: nothing is stored; restart the service")
    elif inbox.failing:
        problems.append(f"readings cannot be stored: {inbox.failing}")
    ready = not problems
    if not summaries.alive:
        problems.append("the summaries have stopped: results fall behind; restart the service")
    if not sealing.alive:
        problems.append("sealing has stopped: the file grows; restart the service")
    if not analysis.alive:
        problems.append("the analysis of whole records has stopped; restart the service")
    problems += [*summaries.failing, *sealing.failing, *analysis.failing]
    if broker_connected is False:
        problems.append("the broker is not reached; its readings wait there")
    return Health(
        ready=ready,
        problems=tuple(problems),
        messages=inbox.messages,
        readings_new=inbox.new,
        readings_repeated=inbox.repeated,
        readings_replaced=inbox.replaced,
        quarantined=inbox.quarantined,
        commits=inbox.commits,
        queued=inbox.queued,
        last_commit_ms=inbox.last_commit_ms,
        connections=listener.connections,
        connections_total=listener.connections_total,
        connections_refused=listener.refused,
        listener_messages=listener.messages,
        listener_bytes=listener.bytes,
        broker_connected=broker_connected,
        dirty_days=summaries.dirty_days,
    )
