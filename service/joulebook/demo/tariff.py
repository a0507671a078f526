"""What the studio pays for energy: invented prices, dearer on summer afternoons."""

from contextlib import closing
from dataclasses import replace
from datetime import date
from decimal import Decimal

from joulebook.core.money.tariff import Band, Season, Tariff
from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.storage.tariffs import TariffVersion, add_tariff

_AFTERNOON_MIN, _EVENING_MIN = 14 * 60, 20 * 60

#: ``docs/examples/tariff.toml`` says the same.
TARIFF = Tariff(
    currency="$",
    from_day=date(2025, 1, 1),
    fixed_per_day=Decimal(0),
    fixed_per_month=Decimal("11.50"),
    listed_dates=(date(2026, 7, 3), date(2026, 12, 25)),
    seasons=(
        Season(
            name="summer",
            first=(6, 1),
            last=(9, 30),
            bands=(
                Band(
                    days=("weekdays",),
                    from_minute=_AFTERNOON_MIN,
                    to_minute=_EVENING_MIN,
                    import_price=Decimal("0.30"),
                    export_price=Decimal("0.09"),
                ),
                Band(
                    days=("weekdays",),
                    from_minute=_EVENING_MIN,
                    to_minute=_AFTERNOON_MIN,
                    import_price=Decimal("0.14"),
                    export_price=Decimal("0.06"),
                ),
                Band(
                    days=("weekend", "listed"),
                    import_price=Decimal("0.12"),
                    export_price=Decimal("0.06"),
                ),
            ),
        ),
        Season(
            name="winter",
            first=(10, 1),
            last=(5, 31),
            bands=(Band(import_price=Decimal("0.13"), export_price=Decimal("0.05")),),
        ),
    ),
)


def enter_tariff(database: Database, site: Site, installed: date, *, now_ms: int) -> None:
    """Enter the studio's tariff, from the day on which its history begins."""
    tariff = replace(TARIFF, from_day=installed)
    version = TariffVersion(id=0, tariff=tariff, note="invented prices", made_ms=now_ms)
    with closing(database.connect()) as connection:
        add_tariff(connection, site, version)
