"""Evidence files of simulated homes."""

from contextlib import closing
from pathlib import Path

import numpy as np

from joulebook.core.history import Floats
from joulebook.evidence.file import make_evidence
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.events import Event, EventKind, add_event
from joulebook.storage.sealing import seal
from tests.helpers.cycled_records import DAY_MS, store_columns
from tests.helpers.homes import Home


def home_evidence(
    home: Home, folder: Path, *, event: EventKind | None = None, missing: float = 0.0
) -> Path:
    """Return the evidence file of a home, its days sealed; its database stays beside it.

    Parameters
    ----------
    event : EventKind, optional
        What the owner noted a little after the middle of the record.
    missing : float
        Share of the voltages, of the currents and of the temperatures that never came, each by
        itself.
    """
    rng = np.random.default_rng(5)

    def read(values: Floats) -> Floats:
        return np.where(rng.random(values.size) < missing, np.nan, values)

    history, powers, pack = home.history, home.powers, home.spec.pack
    charged, discharged = home.counters_wh
    database = Database.open(folder)
    site = add_site(database, "studio", "UTC", battery_ah=pack.rated_ah, battery_cells=pack.cells)
    store_columns(
        database,
        site,
        history,
        battery={
            "voltage": read(history.voltage_v),
            "current": read(history.current_a),
            "temperature": read(history.temperature_c),
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
        if event is not None:
            first_ms, last_ms = history.at_ms[[0, -1]].tolist()
            at_ms = int(first_ms + 0.55 * (last_ms - first_ms)) // DAY_MS * DAY_MS
            add_event(
                connection,
                site,
                Event(id=0, at_ms=at_ms, kind=event, title="Changed", made_ms=at_ms),
            )
    file = folder / "evidence.zip"
    make_evidence(database, site, file, clock_ms=lambda: now_ms, version="1.2.3", max_gap_s=300.0)
    database.close()
    return file
