"""Simulated homes kept on disk, so that they need not be simulated again."""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from pathlib import Path

import numpy as np

from tests.helpers.homes.home import START_MS, Home, Log
from tests.helpers.homes.simulation import simulate
from tests.helpers.homes.spec import HomeSpec
from tests.helpers.homes.truth import DailyTruth, Truth

#: Part of each file's name: to be raised whenever the simulation changes.
VERSION = 2
_FULLS = ("full_ms", "full_charge_wh", "full_discharge_wh")


def path_of(spec: HomeSpec, folder: Path) -> Path:
    """Return where a home is kept."""
    return folder / f"{spec.key}-{VERSION}.npz"


def keep(home: Home, folder: Path) -> None:
    """Write a home to its file; a broken write leaves none."""
    path = path_of(home.spec, folder)
    columns = {f"log_{f.name}": getattr(home.log, f.name) for f in fields(Log)}
    columns |= {f"day_{f.name}": getattr(home.truth.daily, f.name) for f in fields(DailyTruth)}
    columns |= {name: getattr(home.truth, name) for name in ("yearly_ah", *_FULLS)}
    part = path.with_suffix(".part")
    with part.open("wb") as file:
        np.savez(file, **columns)
    part.replace(path)


def kept(spec: HomeSpec, folder: Path) -> Home:
    """Read a home from its file."""
    with np.load(path_of(spec, folder)) as file:
        log = Log(**{f.name: file[f"log_{f.name}"] for f in fields(Log)})
        daily = DailyTruth(**{f.name: file[f"day_{f.name}"] for f in fields(DailyTruth)})
        fulls = {name: file[name] for name in _FULLS}
        truth = Truth(
            spec=spec, start_ms=START_MS, daily=daily, yearly_ah=file["yearly_ah"], **fulls
        )
    return Home(spec=spec, log=log, truth=truth)


def simulate_missing(specs: Sequence[HomeSpec], folder: Path, *, at_once: int = 64) -> int:
    """Simulate and keep the homes that have no file yet; return how many."""
    folder.mkdir(parents=True, exist_ok=True)
    missing = sorted(
        (spec for spec in specs if not path_of(spec, folder).exists()),
        key=lambda spec: (spec.inner_s, spec.years),
    )
    for first in range(0, len(missing), at_once):
        for home in simulate(missing[first : first + at_once]):
            keep(home, folder)
    return len(missing)


def kept_homes(specs: Sequence[HomeSpec], folder: Path) -> Iterator[Home]:
    """Give each home, one at a time, simulating first what is not there."""
    simulate_missing(specs, folder)
    for spec in specs:
        yield kept(spec, folder)
