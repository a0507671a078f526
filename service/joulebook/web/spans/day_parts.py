"""What the tables of a day's page say of the day or of a part of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.core.spans import Span
from joulebook.web.region import formats
from joulebook.web.series.lines import Line
from joulebook.web.series.thinning import known
from joulebook.web.spans.zoom import Zoom

#: How long a row may stand for, and how many rows there are at most.
_ROW_MINUTES = (1, 2, 5, 10, 15, 30, 60)
_MOST_ROWS = 24.5
#: A row shorter than this is not looked into further. [ms]
_LEAST_LINKED_MS = 600_000


@dataclass(frozen=True, slots=True)
class PartRow:
    """The means of a piece of time.

    Attributes
    ----------
    time : str
        When it begins, by the site's clock.
    url : str or None
        The page that shows it alone.
    means : list of float or None
        Of each line; ``None`` where there is no reading.
    """

    time: str
    url: str | None
    means: list[float | None]


@dataclass(frozen=True, slots=True)
class LineExtent:
    """The least, the mean and the greatest reading of a line; ``None`` where there is none."""

    device: str
    is_level: bool
    least: float | None
    mean: float | None
    greatest: float | None
    count: int


def row_step_ms(span: Span) -> int:
    """Return how long a row of the table stands for. [ms]"""
    minutes = next(
        each for each in _ROW_MINUTES if span.length_s / 60 / each <= _MOST_ROWS or each == 60
    )
    return minutes * 60_000


def part_rows(lines: Sequence[Line], zoom: Zoom, *, now_ms: int) -> list[PartRow]:
    """Return the mean of every line in each hour, or each shorter piece, that has begun."""
    step_ms = row_step_ms(zoom.span)
    count = -((zoom.span.start_ms - zoom.span.end_ms) // step_ms)
    if not lines or not count:
        return []
    rows_span = Span(zoom.span.start_ms, zoom.span.start_ms + count * step_ms)
    means = [line.means(Span(rows_span.start_ms, rows_span.end_ms), count) for line in lines]
    rows = []
    for row in range(count):
        start_ms = rows_span.start_ms + row * step_ms
        if start_ms >= now_ms:
            break
        piece = Span(start_ms, min(start_ms + step_ms, zoom.whole.end_ms))
        linked = step_ms >= _LEAST_LINKED_MS
        rows.append(
            PartRow(
                formats.clock(start_ms, zoom.zone),
                zoom.path + zoom.query_of(piece) if linked else None,
                [mean[row] for mean in means],
            )
        )
    return rows


def extents(lines: Sequence[Line], span: Span) -> list[LineExtent]:
    """Return what each line reached within a span."""
    found = []
    for line in lines:
        _, value = known(line.at_ms, line.value, span)
        reached = (value.min(), value.mean(), value.max()) if value.size else (None, None, None)
        least, mean, greatest = (None if each is None else float(each) for each in reached)
        found.append(
            LineExtent(
                device=formats.device_label(line.device),
                is_level=line.quantity == "soc",
                least=least,
                mean=mean,
                greatest=greatest,
                count=value.size,
            )
        )
    return found
