"""Every metric by its name, against docs/metrics.md and the parser of Prometheus' own library."""

import re
from pathlib import Path

from prometheus_client.parser import text_string_to_metric_families as parsed

from joulebook.storage.durations import Durations
from joulebook.storage.quarantine import SetAside
from joulebook.storage.room import Room
from joulebook.web.watch.health import Health, WorkerHealth
from joulebook.web.watch.metrics import families_of, metrics_text
from joulebook.web.watch.process import Process

DOCS = Path(__file__).parents[4] / "docs"


def durations(*seconds: float) -> Durations:
    took = Durations()
    for duration_s in seconds:
        took.note(duration_s)
    return took


PROCESS = Process(resident_bytes=90_000_000, cpu_s=12.5, open_files=30, most_files=1024)
NO_PROCESS = Process(resident_bytes=None, cpu_s=0.0, open_files=None, most_files=None)
FULL = Health(
    ready=True,
    started_ms=1_795_600_000_000,
    messages=12,
    readings_new=30,
    readings_repeated=2,
    readings_replaced=1,
    quarantined={"json-malformed": 2, "site-not-allowed": 1},
    set_aside=(SetAside(reason="json-malformed", kept=7, kept_bytes=700, let_go=5),),
    commits=4,
    queued=5,
    waiting_s=0.75,
    last_commit_ms=1_795_608_300_250,
    commits_took=durations(0.004, 0.04, 0.04, 2.0),
    connections=2,
    connections_total=9,
    connections_refused=1,
    listener_messages=12,
    listener_bytes=4_096,
    connections_dropped={"silent": 3},
    broker_connected=False,
    dirty_days=6,
    days_computed=7,
    caught_up_ms=1_795_608_200_000,
    blocks_sealed=3,
    rows_sealed=400,
    records_analysed=1,
    workers=(
        WorkerHealth(name="writer", restarts=2),
        WorkerHealth(name="sealer", problem="the sealer has stopped"),
    ),
    room=Room(
        free_bytes=10**9, size_bytes=10**10, free_files=1000, database_bytes=10**8, writable=True
    ),
    last_backup_ms=1_795_500_000_000,
    requests={
        ("page", 200): 8,
        ("page", 404): 1,
        ("watching", 503): 2,
        ("sign-in", 303): 4,
        ("sign-in", 422): 5,
    },
    requests_took={"page": durations(0.02), "watching": durations(0.001)},
)


def samples(health: Health, process: Process = PROCESS) -> dict[str, float]:
    """Read an exposition; histograms only by their counts."""
    return {
        sample.name + "".join(f"[{value}]" for value in sample.labels.values()): sample.value
        for family in parsed(metrics_text(health, process, version="1.2.3"))
        for sample in family.samples
        if not sample.name.endswith(("_bucket", "_sum"))
    }


def test_every_number_of_a_service_with_all_doors() -> None:
    assert samples(FULL) == {
        "joulebook_build_info[1.2.3]": 1,
        "joulebook_ready": 1,
        "joulebook_messages_total": 12,
        "joulebook_readings_new_total": 30,
        "joulebook_readings_repeated_total": 2,
        "joulebook_readings_replaced_total": 1,
        "joulebook_quarantined_total[json-malformed]": 2,
        "joulebook_quarantined_total[site-not-allowed]": 1,
        "joulebook_set_aside_messages[json-malformed]": 7,
        "joulebook_let_go_total[json-malformed]": 5,
        "joulebook_commits_total": 4,
        "joulebook_commit_duration_seconds_count": 4,
        "joulebook_queued_messages": 5,
        "joulebook_ingest_lag_seconds": 0.75,
        "joulebook_last_commit_timestamp_seconds": 1_795_608_300.25,
        "joulebook_mqtt_connections": 2,
        "joulebook_mqtt_connections_total": 9,
        "joulebook_mqtt_refused_total": 1,
        "joulebook_mqtt_dropped_total[silent]": 3,
        "joulebook_mqtt_messages_total": 12,
        "joulebook_mqtt_received_bytes_total": 4_096,
        "joulebook_broker_connected": 0,
        "joulebook_http_requests_total[page][200]": 8,
        "joulebook_http_requests_total[page][404]": 1,
        "joulebook_http_requests_total[sign-in][303]": 4,
        "joulebook_http_requests_total[sign-in][422]": 5,
        "joulebook_http_requests_total[watching][503]": 2,
        "joulebook_sign_in_failures_total": 5,
        "joulebook_http_request_duration_seconds_count[page]": 1,
        "joulebook_http_request_duration_seconds_count[watching]": 1,
        "joulebook_dirty_days": 6,
        "joulebook_days_computed_total": 7,
        "joulebook_caught_up_timestamp_seconds": 1_795_608_200.0,
        "joulebook_records_analysed_total": 1,
        "joulebook_sealed_blocks_total": 3,
        "joulebook_sealed_rows_total": 400,
        "joulebook_database_bytes": 10**8,
        "joulebook_disk_free_bytes": 10**9,
        "joulebook_disk_size_bytes": 10**10,
        "joulebook_disk_free_files": 1000,
        "joulebook_last_backup_timestamp_seconds": 1_795_500_000.0,
        "joulebook_worker_up[writer]": 1,
        "joulebook_worker_up[sealer]": 0,
        "joulebook_worker_restarts_total[writer]": 2,
        "joulebook_worker_restarts_total[sealer]": 0,
        "process_resident_memory_bytes": 90_000_000,
        "process_cpu_seconds_total": 12.5,
        "process_open_fds": 30,
        "process_max_fds": 1024,
        "process_start_time_seconds": 1_795_600_000.0,
    }


def test_what_does_not_exist_is_left_out_and_not_zero() -> None:
    names = samples(Health(ready=False), NO_PROCESS)
    for absent in ("mqtt_connections", "broker_connected", "disk_free_bytes", "worker_up"):
        assert f"joulebook_{absent}" not in names
    assert "joulebook_last_commit_timestamp_seconds" not in names
    assert "process_resident_memory_bytes" not in names
    assert names["joulebook_ready"] == 0


def test_names_are_as_the_documentation_of_prometheus_wants_them() -> None:
    # "Metric and label naming": base units as a suffix, an accumulating count ends in total.
    units = ("_seconds", "_bytes", "_total", "_info", "_files", "_fds", "_days", "_messages")
    bare = {"joulebook_ready", "joulebook_mqtt_connections", "joulebook_broker_connected"}
    for family in families_of(FULL, PROCESS, version="1"):
        assert re.fullmatch(r"(joulebook|process)_[a-z_]+", family.name)
        assert family.name.endswith("_total") == (family.kind == "counter")
        assert family.name.endswith(units) or family.name in bare | {"joulebook_worker_up"}
        assert family.help.endswith(".")
        assert "\n" not in family.help


def test_the_page_of_metrics_has_each_with_its_type_and_the_same_words() -> None:
    page = (DOCS / "metrics.md").read_text(encoding="utf-8")
    row = r"^\| `(\w+)` \| (counter|gauge|histogram) \| (.*?) \|$"
    told = re.findall(row, page, flags=re.MULTILINE)
    there = [
        (family.name, family.kind, family.help)
        for family in families_of(FULL, PROCESS, version="1")
    ]
    assert told == there
