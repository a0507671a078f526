"""What a warranty promises: as the owner entered it, and as is assumed where he did not."""

from dataclasses import dataclass
from datetime import date, timedelta

from joulebook.core.outlook.forecast import WarrantyTerms
from joulebook.core.spans import local_day
from joulebook.storage.records import Site

#: Common practice, no source: ten years and 60 to 70 % of the rated charge.
USUAL_YEARS, USUAL_FLOOR_RATIO = 10.0, 0.7
_DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Warranty:
    """Terms, and which of them nobody entered.

    Attributes
    ----------
    begins, ends : date
        First day, and the first one that is no longer covered.
    floor_ratio : float
        Promised until then. [of the rated charge]
    throughput_wh : float or None
        It is over when so much energy was given out.
    assumed : tuple of str
        Sentences: what was assumed.
    """

    begins: date
    ends: date
    floor_ratio: float
    throughput_wh: float | None
    assumed: tuple[str, ...]

    def terms(self, site: Site) -> WarrantyTerms:
        """Return them as the forecast takes them."""
        return WarrantyTerms(
            end_ms=local_day(self.ends, site.zone).start_ms,
            floor_ratio=self.floor_ratio,
            throughput_wh=self.throughput_wh,
        )


def warranty_of(site: Site, first_day: date) -> Warranty:
    """Return a site's warranty.

    Parameters
    ----------
    first_day : date
        Of the readings: where the owner did not enter the day on which the battery first ran.
    """
    assumed = []
    if site.installed is None:
        assumed.append(f"the battery is taken to have first run on {first_day}, the first reading")
    if site.warranty_years is None:
        assumed.append(f"{USUAL_YEARS:.0f} years are assumed")
    if site.warranty_floor_ratio is None:
        assumed.append(f"a floor of {USUAL_FLOOR_RATIO:.0%} of the rated charge is assumed")
    begins = site.installed or first_day
    return Warranty(
        begins=begins,
        ends=years_after(begins, site.warranty_years or USUAL_YEARS),
        floor_ratio=site.warranty_floor_ratio or USUAL_FLOOR_RATIO,
        throughput_wh=site.warranty_throughput_wh,
        assumed=tuple(assumed),
    )


def years_after(begins: date, years: float) -> date:
    """Return the day on which years are over.

    From 29 February they count to 28 February; part of a year counts as days of one of 365.25.
    """
    whole, part = divmod(years, 1)
    leap_day = (begins.month, begins.day) == (2, 29)
    first = begins - timedelta(days=1) if leap_day else begins
    return first.replace(year=first.year + int(whole)) + timedelta(
        days=round(part * _DAYS_PER_YEAR)
    )
