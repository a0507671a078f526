"""Evidence files of simulated homes."""

from contextlib import closing
from pathlib import Path

from joulebook.evidence.file import make_evidence
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.sealing import seal
from tests.helpers.cycled_records import DAY_MS, store_columns
from tests.helpers.homes import Home


def home_evidence(home: Home, folder: Path) -> Path:
    """Return the evidence file of a home, its days sealed; its database stays beside it."""
    history, powers, pack = home.history, home.powers, home.spec.pack
    charged, discharged = home.counters_wh
    database = Database.open(folder)
    site = add_site(database, "studio", "UTC", battery_ah=pack.rated_ah, battery_cells=pack.cells)
    store_columns(
        database,
        site,
        history,
        battery={
            "voltage": history.voltage_v,
            "current": history.current_a,
            "temperature": history.temperature_c,
            "soc": home.soc_ratio,
            "soh": home.soh_ratio,
            "charge_energy": charged,
            "discharge_energy": discharged,
        },
        pv={"power": powers.pv_w},
        grid={"power": powers.grid_w},
        load={"power": powers.load_w},
    )
    now_ms = int(history.at_ms[-1]) + 3 * DAY_MS
    with closing(database.connect()) as connection:
        seal(connection, now_ms)
    file = folder / "evidence.zip"
    make_evidence(database, site, file, clock_ms=lambda: now_ms, version="1.2.3", max_gap_s=300.0)
    database.close()
    return file
