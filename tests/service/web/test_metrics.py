import re

from joulebook.web.health import Health
from joulebook.web.metrics import metrics_text

# Prometheus documentation, "Text-based format": name, labels in braces, value.
_SAMPLE = re.compile(r'([a-zA-Z_:][a-zA-Z0-9_:]*)(\{[a-z]+="(?:[^"\\\n]|\\.)*"\})? (\S+)')


def samples(text: str) -> dict[str, float]:
    """Read an exposition as its documentation says; every line must be one of its kinds."""
    found = {}
    for line in text.splitlines():
        if line.startswith("#"):
            assert re.fullmatch(r"# (HELP \S+ .+|TYPE \S+ (counter|gauge))", line), line
            continue
        match = _SAMPLE.fullmatch(line)
        assert match is not None, line
        found[match[1]] = float(match[3])
    return found


def test_every_number_of_a_service_with_all_doors() -> None:
    health = Health(
        ready=True,
        messages=12,
        readings_new=30,
        readings_repeated=2,
        readings_replaced=1,
        quarantined=3,
        commits=4,
        queued=5,
        last_commit_ms=1_795_608_300_250,
        connections=2,
        connections_total=9,
        connections_refused=1,
        listener_messages=12,
        listener_bytes=4_096,
        broker_connected=False,
        dirty_days=6,
    )
    assert samples(metrics_text(health, version="1.2.3")) == {
        "joulebook_build_info": 1,
        "joulebook_ready": 1,
        "joulebook_messages_total": 12,
        "joulebook_readings_new_total": 30,
        "joulebook_readings_repeated_total": 2,
        "joulebook_readings_replaced_total": 1,
        "joulebook_quarantined_total": 3,
        "joulebook_commits_total": 4,
        "joulebook_queued_messages": 5,
        "joulebook_last_commit_timestamp_seconds": 1_795_608_300.25,
        "joulebook_mqtt_connections": 2,
        "joulebook_mqtt_connections_total": 9,
        "joulebook_mqtt_refused_total": 1,
        "joulebook_mqtt_messages_total": 12,
        "joulebook_mqtt_received_bytes_total": 4_096,
        "joulebook_broker_connected": 0,
        "joulebook_dirty_days": 6,
    }


def test_what_does_not_exist_is_left_out_and_not_zero() -> None:
    names = samples(metrics_text(Health(ready=False), version="1"))
    assert "joulebook_mqtt_connections" not in names
    assert "joulebook_broker_connected" not in names
    assert "joulebook_last_commit_timestamp_seconds" not in names
    assert names["joulebook_ready"] == 0


def test_each_family_has_help_and_type_before_its_sample() -> None:
    lines = metrics_text(Health(ready=True), version="1").splitlines()
    for help_line, type_line, sample in zip(lines[::3], lines[1::3], lines[2::3], strict=True):
        name = re.split(r"[{ ]", sample)[0]
        assert help_line.startswith(f"# HELP {name} ")
        assert type_line.startswith(f"# TYPE {name} ")
        # "Metric and label naming": an accumulating count has total as a suffix.
        assert name.endswith("_total") == type_line.endswith(" counter")


def test_a_label_is_escaped() -> None:
    # Same document: backslash, double quote and line feed are escaped in label values.
    assert 'version="a\\"b\\\\c\\nd"' in metrics_text(Health(ready=True), version='a"b\\c\nd')
