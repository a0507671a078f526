"""The powers and the charge of a site over a span, as lines and as means by the hour."""

from contextlib import closing
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span
from joulebook.storage.database import Database
from joulebook.storage.reading import devices_of, read_device
from joulebook.storage.records import Site
from joulebook.web.series.thinning import known, line_points, thinned

#: What is drawn, by device kind and in this order.
_DRAWN = (("pv", "power"), ("load", "power"), ("grid", "power"), ("battery", "power"))
_LEVEL = ("battery", "soc")


@dataclass(frozen=True, slots=True)
class Line:
    """Readings of one quantity of one device over a span, NaN where one is missing."""

    device: str
    quantity: str  # power [W] or soc [ratio]
    at_ms: NDArray[np.int64]
    value: NDArray[np.float64]
    thinned: bool = False  # its points are means

    def points(self, span: Span, width: int) -> "Line":
        """Return the points that a picture of so many pixels needs."""
        drawn = line_points(self.at_ms, self.value, span=span, width=width)
        return Line(self.device, self.quantity, drawn.at_ms, drawn.value, drawn.thinned)

    def means(self, span: Span, buckets: int) -> list[float | None]:
        """Return the mean of the readings in each part of the span; ``None`` for no reading."""
        at_ms, value = known(self.at_ms, self.value, span)
        mean = thinned(at_ms, value, span=span, buckets=buckets).mean
        return [None if np.isnan(each) else float(each) for each in mean]


def site_lines(database: Database, site: Site, span: Span) -> list[Line]:
    """Return the lines of panels, use, grid, battery and its charge, as far as there are any."""
    with closing(database.connect()) as connection:
        devices = devices_of(connection, site.id)
        wanted = [
            (device, quantity)
            for kind, quantity in (*_DRAWN, _LEVEL)
            for device in devices
            if kind_of(device) == kind
        ]
        lines = []
        for device, quantity in wanted:
            readings = read_device(connection, site.id, device, span, quantities=[quantity])
            value = readings.values.get(quantity)
            if value is not None and not np.isnan(value).all():
                lines.append(Line(device, quantity, readings.at_ms, value))
    return lines
