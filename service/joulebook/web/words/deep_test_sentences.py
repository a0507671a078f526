"""Guided deep tests, as the page of wear tells of them."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from joulebook.core.battery.deep_test import DeepTestResult
from joulebook.core.battery.deep_test_progress import Progress
from joulebook.summaries.deep_tests import DeepTestReport
from joulebook.web.region import formats
from joulebook.web.shown import AMPERE_HOURS_FINE, PERCENT


@dataclass(frozen=True, slots=True)
class ToldTest:
    """A test in words: a title, whether it is under way, and sentences on how it stands."""

    title: str
    under_way: bool
    sentences: list[str]


def told_test(report: DeepTestReport, zone: ZoneInfo) -> ToldTest:
    """Return a test in words."""
    test = report.test
    if test.started_ms is None:
        state, at_ms = ("planned", test.planned_ms) if test.is_open else ("given up", test.ended_ms)
    else:
        state, at_ms = ("began", test.started_ms) if test.is_open else ("ended", test.ended_ms)
    sentences = [test.note] if test.note else []
    if report.why_not is not None:
        sentences.append(f"Nothing can be told: {report.why_not}.")
    if report.progress is not None:
        sentences += _progress(report.progress)
    if report.result is not None:
        sentences += _result(report.result)
    when = "" if at_ms is None else f" {formats.moment(at_ms, zone)}"
    return ToldTest(f"Test {test.id}: {state}{when}", test.is_open, sentences)


def _progress(progress: Progress) -> list[str]:
    sentences = [f"Now: {progress.stage}."]
    if progress.drawn_ah is not None:
        sentences.append(f"Drawn since full: {AMPERE_HOURS_FINE.text(progress.drawn_ah)}.")
    if progress.cell_v is not None:
        state = "" if progress.state is None else f", about {PERCENT.text(progress.state)} full"
        sentences.append(
            f"A cell would rest at {formats.fixed(progress.cell_v, 3)}{formats.NBSP}V{state}."
        )
    return sentences + [f"Still to do: {words}." for words in progress.missing]


def _result(result: DeepTestResult) -> list[str]:
    sentences = [f"It {result.verdict}." if not result.reasons else f"It {result.verdict}:"]
    sentences += [f"{reason}." for reason in result.reasons]
    capacity = result.capacity
    if capacity.value is not None:
        held = AMPERE_HOURS_FINE.words(capacity.value, capacity.low, capacity.high)
        sentences.append(f"The battery held {held}, by {capacity.method}.")
    if result.drawn_ah is not None and result.x_low is not None:
        sentences.append(
            f"Counted: {AMPERE_HOURS_FINE.text(result.drawn_ah)} down to"
            f" {PERCENT.text(result.x_low)}"
            + (
                "."
                if result.returned_ah is None
                else f", and {AMPERE_HOURS_FINE.text(result.returned_ah)} back to full."
            )
        )
    return sentences
