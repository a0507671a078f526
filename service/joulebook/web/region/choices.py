"""The regions that a reader, or an owner for a site, can choose from."""

from functools import cache

from babel import Locale, UnknownLocaleError

from joulebook.web.region.regions import region_of

#: Two letters that are no place where somebody lives.
_NO_PLACES = frozenset({"EU", "EZ", "QO", "UN", "XA", "XB", "ZZ"})


@cache
def region_choices() -> tuple[tuple[str, str], ...]:
    """Return tag and English name of every region, by name: ``("en-DE", "Germany")``."""
    names = Locale("en").territories
    places = [
        (f"en-{code}", name)
        for code, name in names.items()
        if len(code) == 2 and code not in _NO_PLACES and _is_known(code)
    ]
    return tuple(sorted(places, key=lambda place: place[1]))


def _is_known(code: str) -> bool:
    try:
        return Locale.parse(f"und_{code}").territory == code
    except UnknownLocaleError:
        return region_of(f"en-{code}") is not None
