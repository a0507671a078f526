"""The unit registries of SenML, and exact conversion to the house's canonical units.

The names and factors are those of RFC 8428 §12.1 (Table 6), RFC 8798 §2 (new primary units) and
§3 (secondary units). The house adds three relations of its own, each documented in
``docs/wire-format.md``: kelvin to Celsius, and the two ways besides ``/`` to send a ratio.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

_PRIMARY_NAMES = """
    m kg g s A K cd mol Hz rad sr N Pa J W C V F Ohm S Wb T H Cel lm lx Bq Gy Sv kat m2 m3 l
    m/s m/s2 m3/s l/s W/m2 cd/m2 bit bit/s lat lon pH dB dBW Bspl count / % %RH %EL EL 1/s
    1/min beat/min beats S/m B VA VAs var vars J/m kg/m3 deg
"""
_PRIMARY = frozenset(_PRIMARY_NAMES.split())


def _scaled(primary: str, scale: str) -> tuple[str, Fraction, Fraction]:
    return primary, Fraction(scale), Fraction(0)


#: Secondary unit: its primary unit, and ``primary = secondary * scale + offset``.
_SECONDARY: Mapping[str, tuple[str, Fraction, Fraction]] = {
    "ms": _scaled("s", "1/1000"),
    "min": _scaled("s", "60"),
    "h": _scaled("s", "3600"),
    "MHz": _scaled("Hz", "1000000"),
    "kW": _scaled("W", "1000"),
    "kVA": _scaled("VA", "1000"),
    "kvar": _scaled("var", "1000"),
    "Ah": _scaled("C", "3600"),
    "Wh": _scaled("J", "3600"),
    "kWh": _scaled("J", "3600000"),
    "varh": _scaled("vars", "3600"),
    "kvarh": _scaled("vars", "3600000"),
    "kVAh": _scaled("VAs", "3600000"),
    "Wh/km": _scaled("J/m", "3.6"),
    "KiB": _scaled("B", "1024"),
    "GB": _scaled("B", "1e9"),
    "Mbit/s": _scaled("bit/s", "1000000"),
    "B/s": _scaled("bit/s", "8"),
    "MB/s": _scaled("bit/s", "8000000"),
    "mV": _scaled("V", "1/1000"),
    "mA": _scaled("A", "1/1000"),
    "dBm": ("dBW", Fraction(1), Fraction(-30)),
    "ug/m3": _scaled("kg/m3", "1e-9"),
    "mm/h": _scaled("m/s", "1/3600000"),
    "m/h": _scaled("m/s", "1/3600"),
    "ppm": _scaled("/", "1e-6"),
    "/100": _scaled("/", "1/100"),
    "/1000": _scaled("/", "1/1000"),
    "hPa": _scaled("Pa", "100"),
    "mm": _scaled("m", "1/1000"),
    "cm": _scaled("m", "1/100"),
    "km": _scaled("m", "1000"),
    "km/h": ("m/s", Fraction(5, 18), Fraction(0)),
}

#: What the house reads besides: the ice point is 273.15 K (SI; RFC 8428 guideline 5 misprints
#: it), "%" is a ratio by RFC 8428 Note 2, and "%EL" is a percentage of a battery's charge.
_HOUSE: Mapping[str, tuple[str, Fraction, Fraction]] = {
    "K": ("Cel", Fraction(1), Fraction("-273.15")),
    "%": ("/", Fraction(1), Fraction(0)),
    "%EL": ("/", Fraction(1, 100), Fraction(0)),
}


@dataclass(frozen=True, slots=True)
class Conversion:
    """``canonical = sent * numerator / denominator + offset``, exact in decimal."""

    numerator: int
    denominator: int
    offset: Decimal

    @property
    def changes_nothing(self) -> bool:
        """Whether values pass as they are."""
        return self.numerator == self.denominator and not self.offset

    def apply(self, value: float) -> float:
        """Return the float nearest to the exact decimal result: 61 % is 0.61, never 0.6100000001.

        Notes
        -----
        A binary product such as ``1.001 * 1000`` is 1000.9999999999999; the decimal one is 1001.
        """
        if value.is_integer() and not self.offset and abs(value) < 1e9:
            # Both sides of the division are exact integers, so it rounds once.
            return value * self.numerator / self.denominator
        return float(Decimal(repr(value)) * self.numerator / self.denominator + self.offset)


def is_registered(unit: str) -> bool:
    """Return whether RFC 8428 or RFC 8798 names the unit."""
    return unit in _PRIMARY or unit in _SECONDARY


#: The longest unit that is looked at: no unit is as long, and a sender that makes units up would
#: otherwise fill the memory with what is remembered of them.
MOST_UNIT = 64


def conversion(unit: str, canonical: str) -> Conversion | None:
    """Return how to get from one unit to another, or ``None`` where they measure unlike things."""
    if len(unit) > MOST_UNIT:
        return None
    return _conversion(unit, canonical)


@lru_cache(maxsize=4096)
def _conversion(unit: str, canonical: str) -> Conversion | None:
    sent_base, sent_scale, sent_offset = _base(unit)
    base, scale, offset = _base(canonical)
    if sent_base != base:
        return None
    factor = sent_scale / scale
    shift = (sent_offset - offset) / scale
    return Conversion(
        factor.numerator,
        factor.denominator,
        Decimal(shift.numerator) / Decimal(shift.denominator),
    )


def convertible_to(canonical: str) -> list[str]:
    """Return the units that a sender may use for a quantity, the canonical one first."""
    others = sorted(_PRIMARY | _SECONDARY.keys() - {canonical})
    return [canonical, *(u for u in others if u != canonical and conversion(u, canonical))]


def _base(unit: str) -> tuple[str, Fraction, Fraction]:
    return _SECONDARY.get(unit) or _HOUSE.get(unit) or (unit, Fraction(1), Fraction(0))
