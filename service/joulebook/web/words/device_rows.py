"""The devices of a site, and what each reports, in words."""

from contextlib import closing
from dataclasses import dataclass

from joulebook.core.quantities import QUANTITIES, kind_of, quantity_of
from joulebook.core.spans import Span
from joulebook.storage.heard import heard_spans
from joulebook.storage.reading import devices_of
from joulebook.storage.records import Series, Site
from joulebook.storage.series import series_of
from joulebook.web.backing import Backing
from joulebook.web.region import formats

_UNITS = {"Cel": "°C", "/": "ratio", "": "no unit"}

_KINDS = {"text": "words", "flag": "yes or no"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device as the page shows it.

    Attributes
    ----------
    name, label : str
        As its messages say, and as pages say.
    kind_known : bool
        Whether its kind is one that computations know.
    span : Span or None
        From its first reading to its last.
    known, unknown : list of (str, str)
        Quantities that computations know, and others: the name and the unit.
    """

    name: str
    label: str
    kind_known: bool
    span: Span | None
    known: list[tuple[str, str]]
    unknown: list[tuple[str, str]]


def told_devices(backing: Backing, site: Site) -> list[Device]:
    """Return the devices of a site, by name."""
    with closing(backing.database.connect()) as connection:
        spans = heard_spans(connection, site.id)
        series = series_of(connection, site.id)
        names = devices_of(connection, site.id)
    return [
        _device(name, spans.get(name), [each for each in series if each.device == name])
        for name in names
    ]


def _device(name: str, span: Span | None, series: list[Series]) -> Device:
    known = [each for each in series if quantity_of(name, each.quantity) is not None]
    return Device(
        name=name,
        label=formats.device_label(name),
        kind_known=kind_of(name) in QUANTITIES,
        span=span,
        known=[_quantity(each) for each in known],
        unknown=[_quantity(each) for each in series if each not in known],
    )


def _quantity(series: Series) -> tuple[str, str]:
    unit = _KINDS.get(series.kind) or _UNITS.get(series.unit, series.unit)
    return series.quantity, unit
