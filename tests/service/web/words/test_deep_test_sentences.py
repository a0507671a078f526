from typing import Any
from zoneinfo import ZoneInfo

from joulebook.core.battery.deep_test import DeepTestResult
from joulebook.core.battery.deep_test_plan import target_of
from joulebook.core.battery.deep_test_progress import Progress
from joulebook.core.estimate import Estimate, refused
from joulebook.storage.deep_tests import DeepTest
from joulebook.summaries.deep_tests import DeepTestReport
from joulebook.web.words.deep_test_sentences import told_test

#: 2026-01-05T00:00:00Z. [ms, UTC epoch]
BEGIN_MS = 1_767_571_200_000
PLANNED = DeepTest(id=1, planned_ms=BEGIN_MS, target=target_of(200.0, 16))


def told(test: DeepTest, **more: Any) -> tuple[str, list[str]]:
    found = told_test(DeepTestReport(test=test, **more), ZoneInfo("UTC"))
    return found.title.replace("\u00a0", " "), [
        words.replace("\u00a0", " ").replace("\u2060", "") for words in found.sentences
    ]


def started(**more: Any) -> DeepTest:
    return DeepTest(id=2, planned_ms=BEGIN_MS, started_ms=BEGIN_MS, target=PLANNED.target, **more)


def test_a_plan_is_only_a_plan() -> None:
    assert told(PLANNED) == ("Test 1: planned 5 January 2026 00:00 UTC", [])
    given_up = DeepTest(id=1, planned_ms=BEGIN_MS, ended_ms=BEGIN_MS + 1, target=PLANNED.target)
    assert told(given_up)[0].startswith("Test 1: given up 5 January 2026")


def test_how_far_it_is_and_what_is_still_to_do() -> None:
    progress = Progress(
        stage="at the bottom",
        full_ms=BEGIN_MS,
        drawn_ah=184.24,
        lowest_state=0.07,
        cell_v=3.1751,
        state=0.071,
        missing=("put the reserve back and let it charge fully",),
    )
    title, sentences = told(started(note="calm week"), progress=progress)
    assert title == "Test 2: began 5 January 2026 00:00 UTC"
    assert sentences == [
        "calm week",
        "Now: at the bottom.",
        "Drawn since full: 184.2 Ah.",
        "A cell would rest at 3.175 V, about 7.1 % full.",
        "Still to do: put the reserve back and let it charge fully.",
    ]


def test_what_is_not_known_of_it_is_left_out() -> None:
    nothing = Progress(
        stage="waiting for full",
        full_ms=None,
        drawn_ah=None,
        lowest_state=None,
        cell_v=3.3,
        state=None,
        missing=(),
    )
    assert told(started(), progress=nothing)[1] == [
        "Now: waiting for full.",
        "A cell would rest at 3.300 V.",
    ]
    silent = Progress(
        stage="waiting for full",
        full_ms=None,
        drawn_ah=None,
        lowest_state=None,
        cell_v=None,
        state=None,
        missing=(),
    )
    assert told(started(), progress=silent)[1] == ["Now: waiting for full."]
    why = told(started(), why_not="no readings")[1]
    assert why == ["Nothing can be told: no readings."]


def test_a_result_that_counts() -> None:
    capacity = Estimate(
        value=196.4, low=191.0, high=201.8, coverage_ratio=1.0, method="deep-test-1"
    )
    result = DeepTestResult(
        verdict="counts",
        reasons=(),
        capacity=capacity,
        drawn_ah=184.2,
        returned_ah=185.1,
        x_low=0.05,
    )
    title, sentences = told(started(ended_ms=BEGIN_MS + 86_400_000), result=result)
    assert title == "Test 2: ended 6 January 2026 00:00 UTC"
    assert sentences == [
        "It counts.",
        "The battery held 196.4 Ah (191.0\N{EN DASH}201.8 Ah), by deep-test-1.",
        "Counted: 184.2 Ah down to 5.0 %, and 185.1 Ah back to full.",
    ]


def test_a_result_that_does_not_count_says_why() -> None:
    none = refused("it came down to 12 %", method="deep-test-1")
    reasons = ("it came down to 12 %",)
    bare = DeepTestResult(verdict="does not count", reasons=reasons, capacity=none)
    assert told(started(ended_ms=BEGIN_MS + 1), result=bare)[1] == [
        "It does not count:",
        "it came down to 12 %.",
    ]
    counted = DeepTestResult(
        verdict="does not count", reasons=reasons, capacity=none, drawn_ah=170.0, x_low=0.12
    )
    assert told(started(ended_ms=BEGIN_MS + 1), result=counted)[1][-1] == (
        "Counted: 170.0 Ah down to 12.0 %."
    )
