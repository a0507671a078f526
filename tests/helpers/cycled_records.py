"""Whole records of the pack of ``cycled_packs``, with an inverter around it, and a site of one.

The inverter takes 40 W and 3 % of what it gives to the load; the panels charge the battery, and
nothing flows to or from the grid.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from joulebook.core.history import Floats, PackHistory, PowerHistory
from joulebook.core.outlook.forecast import WarrantyTerms
from joulebook.core.records.record_inputs import NamedSpan, RecordEvent, RecordInputs
from joulebook.core.spans import Span
from joulebook.ingest.bulk import BulkImport, DeviceColumns
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database, ServerPlace
from joulebook.storage.records import Site
from tests.helpers.cycled_packs import START_MS, cycled_pack

IDLE_W, LOSS_RATIO = 40.0, 0.03
DAY_MS = 86_400_000
STEP_S = 300


#: Of the first capacity, by the day from which on so much is gone: a cell that fails.
LOST_FAST = {360: 0.05, 390: 0.12, 420: 0.22}


def cycled_history(
    days: int,
    *,
    fade_per_year: float = 0.0,
    lost: Mapping[int, float] | None = None,
    **more: Any,
) -> PackHistory:
    """Return a record in pieces of thirty days, each with the capacity of its time.

    A piece begins in the state in which the one before ended: empty at midnight, full by noon.
    ``lost`` says what else is gone, of the first capacity, from the day on with which a piece
    begins.
    """
    pieces = []
    for first in range(0, days, 30):
        length = min(30, days - first)
        gone = fade_per_year * first / 365.25 + (lost or {}).get(first, 0.0)
        capacity = 200.0 * (1 - gone)
        piece = cycled_pack(length, step_s=STEP_S, capacity_ah=capacity, **more)
        pieces.append(replace(piece, at_ms=piece.at_ms + first * DAY_MS))
    return replace(
        pieces[0],
        at_ms=np.concatenate([each.at_ms for each in pieces]),
        voltage_v=np.concatenate([each.voltage_v for each in pieces]),
        current_a=np.concatenate([each.current_a for each in pieces]),
        temperature_c=np.concatenate([each.temperature_c for each in pieces]),
        rated_ah=200.0,
    )


def powers_around(history: PackHistory, *, offset_a: float = 0.0) -> PowerHistory:
    """Return what flows around a pack whose sensor reads ``offset_a`` too much."""
    dc_w = history.voltage_v * (history.current_a - offset_a)
    given_w = np.maximum((-dc_w - IDLE_W) / (1 + LOSS_RATIO), 0.0)
    return PowerHistory(
        pv_w=np.maximum(dc_w, 0.0), grid_w=np.zeros(dc_w.size), load_w=given_w, has_load=True
    )


def cycled_inputs(
    days: int, *, events: Sequence[RecordEvent] = (), offset_a: float = 0.0, **more: Any
) -> RecordInputs:
    """Return a record with quarters of 91 days and a warranty of ten years at 70 %."""
    history = cycled_history(days, offset_a=offset_a, **more)
    quarters = [
        NamedSpan(f"part {n}", Span(START_MS + n * 91 * DAY_MS, START_MS + (n + 1) * 91 * DAY_MS))
        for n in range(-(-days // 91))
    ]
    return RecordInputs(
        history=history,
        powers=powers_around(history, offset_a=offset_a),
        quarters=quarters,
        events=events,
        terms=WarrantyTerms(end_ms=START_MS + round(3652.5 * DAY_MS), floor_ratio=0.7),
    )


def cycled_site(
    data_dir: Path, days: int = 60, *, server: ServerPlace | None = None, **more: Any
) -> tuple[Database, Site]:
    """Return a database with the site ``studio``: such a record of its battery, and what is around.

    The battery claims a state of health of 1 all along.
    """
    database = Database.open(data_dir, server)
    site = add_site(database, "studio", "UTC", battery_ah=200.0, battery_cells=16)
    history = cycled_history(days, **more)
    powers = powers_around(history)
    full = np.ones(history.at_ms.size)
    store_columns(
        database,
        site,
        history,
        battery={
            "voltage": history.voltage_v,
            "current": history.current_a,
            "temperature": history.temperature_c,
            "soh": full,
            "soc": 0.5 * full,
        },
        pv={"power": powers.pv_w},
        grid={"power": powers.grid_w},
        load={"power": powers.load_w},
    )
    return database, site


def store_columns(
    database: Database, site: Site, history: PackHistory, **devices: dict[str, Floats]
) -> None:
    """Store columns of devices at a history's instants; ``battery_2`` stands for ``battery-2``."""
    now_ms = int(history.at_ms[-1]) + DAY_MS
    with BulkImport(database, site, source="test", clock_ms=lambda: now_ms) as bulk:
        for device, values in devices.items():
            bulk.add(DeviceColumns(device.replace("_", "-"), history.at_ms, values))
