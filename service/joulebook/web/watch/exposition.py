"""The Prometheus text format, version 0.0.4 (Prometheus documentation, "Exposition formats").

Each family is a comment with its help, a comment with its type, and its samples. A family whose
numbers do not exist here is left out: missing is not zero.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Literal

from joulebook.storage.durations import BOUNDS_S, Durations

CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"

Labels = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Sample:
    """A value; ``suffix`` follows the family's name, as ``_bucket`` does."""

    value: float
    labels: Labels
    suffix: str = ""


@dataclass(frozen=True, slots=True)
class Family:
    """Samples of one name.

    Attributes
    ----------
    name : str
        With its base unit, and ``_total`` where it counts up ("Metric and label naming").
    kind : str
        Its type.
    help : str
        What it tells, as docs/metrics.md has it too.
    samples : sequence of Sample
        Empty where the number does not exist here.
    """

    name: str
    kind: Literal["counter", "gauge", "histogram"]
    help: str
    samples: Sequence[Sample]


def gauge(name: str, help_text: str, value: float | None, **labels: str) -> Family:
    """Return a family of one value that goes up and down."""
    return Family(name, "gauge", help_text, _one(value, labels))


def counter(name: str, help_text: str, value: float | None) -> Family:
    """Return a family of one value that only goes up."""
    return Family(name, "counter", help_text, _one(value, {}))


def counters(name: str, help_text: str, values: Iterable[tuple[Labels, float]]) -> Family:
    """Return a family of values that only go up, told apart by their labels."""
    return Family(name, "counter", help_text, [Sample(value, labels) for labels, value in values])


def gauges(name: str, help_text: str, values: Iterable[tuple[Labels, float]]) -> Family:
    """Return a family of values that go up and down, told apart by their labels."""
    return Family(name, "gauge", help_text, [Sample(value, labels) for labels, value in values])


def histogram(
    name: str, help_text: str, durations: Iterable[tuple[Labels, Durations | None]]
) -> Family:
    """Return a family of durations: a cumulative count for each bound, their sum and number."""
    samples = []
    for labels, took in durations:
        if took is None:
            continue
        bounds = [*(f"{bound_s:g}" for bound_s in BOUNDS_S), "+Inf"]
        totals = list(accumulate(took.counts))
        samples += [
            Sample(total, {**labels, "le": bound}, "_bucket")
            for bound, total in zip(bounds, totals, strict=True)
        ]
        samples += [Sample(took.sum_s, labels, "_sum"), Sample(totals[-1], labels, "_count")]
    return Family(name, "histogram", help_text, samples)


def exposition(families: Iterable[Family]) -> str:
    """Return the text of all families that have samples."""
    lines = []
    for family in families:
        if not family.samples:
            continue
        lines += [
            f"# HELP {family.name} {family.help}",
            f"# TYPE {family.name} {family.kind}",
            *(_line(family, sample) for sample in family.samples),
        ]
    return "\n".join(lines) + "\n"


def _one(value: float | None, labels: Labels) -> list[Sample]:
    return [] if value is None else [Sample(value, labels)]


def _line(family: Family, sample: Sample) -> str:
    labels = ",".join(f'{name}="{_escaped(text)}"' for name, text in sample.labels.items())
    braces = f"{{{labels}}}" if labels else ""
    return f"{family.name}{sample.suffix}{braces} {sample.value:.15g}"


def _escaped(label: str) -> str:
    return label.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
