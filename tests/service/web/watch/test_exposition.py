"""The text format, read by the parser of Prometheus' own client library for Python."""

from prometheus_client.parser import text_string_to_metric_families as parsed

from joulebook.storage.durations import Durations
from joulebook.web.watch.exposition import counter, counters, exposition, gauge, histogram


def test_what_does_not_exist_is_left_out_and_not_zero() -> None:
    text = exposition([gauge("a_bytes", "A.", None), counters("b_total", "B.", [])])
    assert text == "\n"
    assert list(parsed(text)) == []


def test_help_and_type_come_before_the_samples() -> None:
    text = exposition([counter("a_total", "How many.", 12.0), gauge("b", "How much.", 0.5)])
    assert text.splitlines() == [
        *("# HELP a_total How many.", "# TYPE a_total counter", "a_total 12"),
        *("# HELP b How much.", "# TYPE b gauge", "b 0.5"),
    ]


def test_labels_come_back_as_they_were() -> None:
    # Prometheus documentation, "Text-based format": backslash, double quote and line feed are
    # escaped in label values.
    strange = 'a"b\\c\nd'
    [family] = parsed(exposition([gauge("info", "Which.", 1, version=strange)]))
    assert family.samples[0].labels == {"version": strange}
    assert 'version="a\\"b\\\\c\\nd"' in exposition([gauge("info", "Which.", 1, version=strange)])


def test_a_histogram_is_cumulative_and_ends_with_all() -> None:
    took = Durations()
    for duration_s in (0.0005, 0.002, 0.002, 60.0):
        took.note(duration_s)
    family = histogram("commit_seconds", "How long.", [({"kind": "x"}, took), ({}, None)])
    [read] = parsed(exposition([family]))
    by_name = {(sample.name, sample.labels.get("le")): sample.value for sample in read.samples}
    assert read.type == "histogram"
    # By hand: one is at most 1 ms, three at most 2.5 ms, the fourth is above 30 s.
    assert by_name["commit_seconds_bucket", "0.001"] == 1
    assert by_name["commit_seconds_bucket", "0.0025"] == 3
    assert by_name["commit_seconds_bucket", "30"] == 3
    assert by_name["commit_seconds_bucket", "+Inf"] == 4
    assert by_name["commit_seconds_count", None] == 4
    assert by_name["commit_seconds_sum", None] == 60.0045
    assert {sample.labels["kind"] for sample in read.samples} == {"x"}
