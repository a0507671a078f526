"""The numbers of the service's health in the Prometheus text format, version 0.0.4.

Each family is a comment with its help, a comment with its type, and its samples; a counter's
name ends in ``_total``; base units are in the name (Prometheus documentation, "Exposition
formats" and "Metric and label naming").
"""

from dataclasses import dataclass
from typing import Literal

from joulebook.web.health import Health

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"


@dataclass(frozen=True, slots=True)
class _Family:
    name: str
    kind: Literal["counter", "gauge"]
    help: str
    value: float | None


def metrics_text(health: Health, *, version: str) -> str:
    """Return the exposition; a family whose number does not exist here is left out."""
    families = [family for family in _families(health) if family.value is not None]
    lines = [
        "# HELP joulebook_build_info The version that runs; its value is always 1.",
        "# TYPE joulebook_build_info gauge",
        f'joulebook_build_info{{version="{_escaped(version)}"}} 1',
    ]
    for family in families:
        lines += [
            f"# HELP {family.name} {family.help}",
            f"# TYPE {family.name} {family.kind}",
            f"{family.name} {family.value:.15g}",
        ]
    return "\n".join(lines) + "\n"


def _families(health: Health) -> list[_Family]:
    last_commit_s = None if health.last_commit_ms is None else health.last_commit_ms / 1000
    broker = None if health.broker_connected is None else int(health.broker_connected)
    return [
        _Family("joulebook_ready", "gauge", "1 when readings are taken in and kept.", health.ready),
        _counter("messages", "Messages taken in by any door.", health.messages),
        _counter("readings_new", "Readings stored for the first time.", health.readings_new),
        _counter("readings_repeated", "Readings that came again.", health.readings_repeated),
        _counter("readings_replaced", "Readings with another value.", health.readings_replaced),
        _counter("quarantined", "Messages or parts put aside.", health.quarantined),
        _counter("commits", "Group commits of readings.", health.commits),
        _Family("joulebook_queued_messages", "gauge", "Waiting for a commit.", health.queued),
        _Family(
            "joulebook_last_commit_timestamp_seconds",
            "gauge",
            "When readings were last committed.",
            last_commit_s,
        ),
        _Family(
            "joulebook_mqtt_connections", "gauge", "Bridges connected now.", health.connections
        ),
        _counter("mqtt_connections", "Connections accepted.", health.connections_total),
        _counter("mqtt_refused", "Connections refused.", health.connections_refused),
        _counter("mqtt_messages", "Messages the listener read.", health.listener_messages),
        _counter("mqtt_received_bytes", "Bytes the listener read.", health.listener_bytes),
        _Family("joulebook_broker_connected", "gauge", "1 when the broker is reached.", broker),
        _Family("joulebook_dirty_days", "gauge", "Days to be computed anew.", health.dirty_days),
    ]


def _counter(name: str, help_text: str, value: int | None) -> _Family:
    return _Family(f"joulebook_{name}_total", "counter", help_text, value)


def _escaped(label: str) -> str:
    return label.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
