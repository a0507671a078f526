"""The facts of the demonstration site: a pottery studio that nobody owns, in hills that we chose.

Everything random about it comes from named streams of one seed, so that the studio's history is
the same wherever it is told. (The last bit of a sine or an exponential is the machine's own;
readings are rounded to what an instrument shows, which hides it.)
"""

import zlib
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from joulebook.core.spans import date_of
from joulebook.storage.site_facts import SiteFacts

SITE = "studio"
TIMEZONE = "America/Chicago"
ZONE = ZoneInfo(TIMEZONE)
LATITUDE_DEG = 36.0
LONGITUDE_DEG = -92.6  # east is positive

BATTERY_AH = 200.0  # as the maker rates it
BATTERY_CELLS = 16
WARRANTY_YEARS = 10.0
WARRANTY_FLOOR_RATIO = 0.7
#: What the inverter gives for long, and for some seconds.
INVERTER_W, INVERTER_PEAK_W = 5000.0, 10_000.0
#: What the terms allow (common practice for cells of iron phosphate, no source), and what its
#: owner copied from labels that nobody printed.
ENTERED = SiteFacts(
    battery_ah=BATTERY_AH,
    battery_cells=BATTERY_CELLS,
    warranty_years=WARRANTY_YEARS,
    warranty_floor_ratio=WARRANTY_FLOOR_RATIO,
    inverter_w=INVERTER_W,
    inverter_peak_w=INVERTER_PEAK_W,
    charge_low_c=0.0,
    charge_high_c=50.0,
    discharge_low_c=-20.0,
    discharge_high_c=55.0,
    charge_max_v=58.4,  # 3.65 V a cell
    battery_maker="An invented maker",
    battery_model="Shelf pack 200",
    battery_serial="SP-0007",
    inverter_maker="An invented maker",
    inverter_model="Wall box 5",
    inverter_serial="WB-0042",
    installer="The potter's brother",
)

PANELS_W = 3200.0  # at 1000 W/m² and 25 °C: eight of 400 W, two strings of four
PANELS_TILT_DEG = 30.0
PANELS_FACING_DEG = 190.0  # clockwise from north

STEP_S = 120
STEPS_A_DAY = 86_400 // STEP_S
STEP_MS = STEP_S * 1000
DAY_MS = 86_400_000
MONTHS = 14

_SEED = 20_481


def stream(name: str, index: int) -> np.random.Generator:
    """Return the random stream of one name and day (or date); no other draw ever disturbs it."""
    words = [_SEED, zlib.crc32(name.encode()), index]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(words)))


def installation_date(now_ms: int, months: int = MONTHS) -> date:
    """Return the local date that lies the given number of months before now."""
    today = date_of(now_ms, ZONE)
    month = today.year * 12 + today.month - 1 - months
    # The 31st would not exist in every month.
    return date(month // 12, month % 12 + 1, min(today.day, 28))
