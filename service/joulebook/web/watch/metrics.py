"""The numbers of the service's health, for a system that collects such; see docs/metrics.md.

Names follow "Metric and label naming" of the Prometheus documentation, those that begin with
``process_`` are its standard ones. No label holds a name of a site, a device or a person.
"""

from collections.abc import Iterator
from http import HTTPStatus

from joulebook.storage.room import Room
from joulebook.web.watch.exposition import (
    Family,
    counter,
    counters,
    exposition,
    gauge,
    gauges,
    histogram,
)
from joulebook.web.watch.health import Health
from joulebook.web.watch.process import Process


def metrics_text(health: Health, process: Process, *, version: str) -> str:
    """Return the exposition; a family whose number does not exist here is left out."""
    return exposition(families_of(health, process, version=version))


def families_of(health: Health, process: Process, *, version: str) -> Iterator[Family]:
    """Yield every family there may be, those without a number too."""
    yield gauge(
        "joulebook_build_info",
        "The version that runs; its value is always 1.",
        1,
        version=version,
    )
    yield gauge(
        "joulebook_ready", "1 where a reading that is sent now would be stored.", health.ready
    )
    yield from _ingest(health)
    yield from _doors(health)
    yield from _results(health)
    yield from _keeping(health)
    yield from _process(health, process)


def _ingest(health: Health) -> Iterator[Family]:
    yield counter("joulebook_messages_total", "Messages taken in by any door.", health.messages)
    yield counter(
        "joulebook_readings_new_total", "Readings stored for the first time.", health.readings_new
    )
    yield counter(
        "joulebook_readings_repeated_total", "Readings that came again.", health.readings_repeated
    )
    yield counter(
        "joulebook_readings_replaced_total",
        "Readings that came again with another value.",
        health.readings_replaced,
    )
    yield counters(
        "joulebook_quarantined_total",
        "Messages or parts of them that were put aside, by reason.",
        [({"reason": reason}, count) for reason, count in sorted(health.quarantined.items())],
    )
    yield gauges(
        "joulebook_set_aside_messages",
        "Messages or parts of them that are set aside now, by reason.",
        [({"reason": one.reason}, float(one.kept)) for one in health.set_aside],
    )
    yield counters(
        "joulebook_let_go_total",
        "Messages set aside that were let go for want of room, by reason.",
        [({"reason": one.reason}, one.let_go) for one in health.set_aside],
    )
    yield counter("joulebook_commits_total", "Group commits of readings.", health.commits)
    yield histogram(
        "joulebook_commit_duration_seconds",
        "How long group commits took, failed attempts and waits included.",
        [({}, health.commits_took)],
    )
    yield gauge("joulebook_queued_messages", "Messages that wait for their commit.", health.queued)
    yield gauge(
        "joulebook_ingest_lag_seconds",
        "How long the first of the waiting messages has waited.",
        health.waiting_s,
    )
    yield gauge(
        "joulebook_last_commit_timestamp_seconds",
        "When readings were last committed.",
        _seconds(health.last_commit_ms),
    )


def _doors(health: Health) -> Iterator[Family]:
    yield gauge("joulebook_mqtt_connections", "Bridges connected now.", health.connections)
    yield counter(
        "joulebook_mqtt_connections_total", "MQTT connections accepted.", health.connections_total
    )
    yield counter(
        "joulebook_mqtt_refused_total", "MQTT connections refused.", health.connections_refused
    )
    yield counters(
        "joulebook_mqtt_dropped_total",
        "MQTT connections ended by the listener, by reason.",
        [
            ({"reason": reason}, count)
            for reason, count in sorted(health.connections_dropped.items())
        ],
    )
    yield counter(
        "joulebook_mqtt_messages_total", "Messages the listener read.", health.listener_messages
    )
    yield counter(
        "joulebook_mqtt_received_bytes_total", "Bytes the listener read.", health.listener_bytes
    )
    broker = None if health.broker_connected is None else int(health.broker_connected)
    yield gauge("joulebook_broker_connected", "1 where the broker is reached.", broker)
    yield counters(
        "joulebook_http_requests_total",
        "HTTP requests answered, by kind of address and status; 0 is a sender that went away.",
        [
            ({"kind": kind, "status": str(status)}, count)
            for (kind, status), count in sorted(health.requests.items())
        ],
    )
    refused = (
        count
        for (kind, status), count in health.requests.items()
        if kind == "sign-in" and status >= HTTPStatus.BAD_REQUEST
    )
    yield counter(
        "joulebook_sign_in_failures_total", "Attempts to sign in that failed.", sum(refused)
    )
    yield histogram(
        "joulebook_http_request_duration_seconds",
        "How long answers took, by kind of address.",
        [({"kind": kind}, took) for kind, took in sorted(health.requests_took.items())],
    )


def _results(health: Health) -> Iterator[Family]:
    yield gauge("joulebook_dirty_days", "Local days whose results are behind.", health.dirty_days)
    yield counter("joulebook_days_computed_total", "Day results made.", health.days_computed)
    yield gauge(
        "joulebook_caught_up_timestamp_seconds",
        "When no day's result was behind for the last time.",
        _seconds(health.caught_up_ms),
    )
    yield counter(
        "joulebook_records_analysed_total",
        "Analyses made of a site's whole record.",
        health.records_analysed,
    )


def _keeping(health: Health) -> Iterator[Family]:
    yield counter("joulebook_sealed_blocks_total", "Blocks sealed.", health.blocks_sealed)
    yield counter("joulebook_sealed_rows_total", "Rows in sealed blocks.", health.rows_sealed)
    yield gauge(
        "joulebook_last_backup_timestamp_seconds",
        "When the last backup was made.",
        _seconds(health.last_backup_ms),
    )
    yield from _room(health.room)


def _room(room: Room | None) -> Iterator[Family]:
    if room is None:
        return
    yield gauge(
        "joulebook_database_bytes",
        "Size of the database, with its write-ahead log.",
        room.database_bytes,
    )
    yield gauge("joulebook_disk_free_bytes", "Room left on the database's disk.", room.free_bytes)
    yield gauge("joulebook_disk_size_bytes", "Size of the database's disk.", room.size_bytes)
    yield gauge("joulebook_disk_free_files", "Files that may still be made.", room.free_files)


def _process(health: Health, process: Process) -> Iterator[Family]:
    working = [({"worker": one.name}, float(one.problem is None)) for one in health.workers]
    yield gauges("joulebook_worker_up", "1 where a worker gets on with its work.", working)
    yield counters(
        "joulebook_worker_restarts_total",
        "How often a worker that died or got stuck was started again.",
        [({"worker": one.name}, one.restarts) for one in health.workers],
    )
    yield gauge("process_resident_memory_bytes", "Memory in use.", process.resident_bytes)
    yield counter("process_cpu_seconds_total", "Processor time taken.", process.cpu_s)
    yield gauge("process_open_fds", "Files and connections open.", process.open_files)
    yield gauge("process_max_fds", "How many may be open.", process.most_files)
    yield gauge(
        "process_start_time_seconds", "When the service started.", _seconds(health.started_ms)
    )


def _seconds(at_ms: int | None) -> float | None:
    return None if at_ms is None else at_ms / 1000
