"""What ``run`` and ``check`` are told: a file, and the environment over it. See docs/bridge.md."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from joulebook_bridge.errors import WrongError
from joulebook_bridge.modbus.addresses import LineAddress, parse_line
from joulebook_bridge.register_map import Entry, RegisterMap, parse_map
from joulebook_bridge.session import Credentials, Server, parse_server
from joulebook_bridge.settings import own_certificate, setting
from joulebook_bridge.toml_tables import Table, read_toml

#: The kind of device that the bridge's readings of itself are of.
OWN_KIND = "bridge"
DROP_OLDEST, STOP = "drop oldest", "stop"
_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
_MB = 1_000_000


@dataclass(frozen=True, slots=True)
class Unit:
    """What answers under one number of a line, with the map of its registers."""

    number: int
    map: RegisterMap


@dataclass(frozen=True, slots=True)
class LinePlan:
    """A line and what is on it."""

    address: LineAddress
    timeout_s: float
    units: tuple[Unit, ...]


@dataclass(frozen=True, slots=True)
class SpoolPlan:
    """Where readings wait, and what happens when there is no more room."""

    folder: Path
    most_bytes: int
    keep_free_bytes: int
    when_full: str
    sync_s: float
    clock_wait_s: float


@dataclass(frozen=True, slots=True)
class Service:
    """Where readings go, and as whose."""

    server: Server
    site: str
    credentials: Credentials


@dataclass(frozen=True, slots=True)
class Configuration:
    """All of it.

    Attributes
    ----------
    own_device : str
        Under which name the bridge tells of itself.
    """

    service: Service
    own_device: str
    lines: tuple[LinePlan, ...]
    spool: SpoolPlan
    heartbeat_s: float


def load_configuration(path: Path, environ: Mapping[str, str]) -> Configuration:
    """Return what a file and the environment say; the environment counts where both do.

    Raises
    ------
    WrongError
        With file and line, what was expected there, and what to do.
    """
    table = read_toml(path)
    keys = ("server", "site", "name", "token_file", "certificate", "key")
    given = {key: table.text(key, "") for key in keys}
    lines = _lines(table, path.parent)
    configuration = Configuration(
        service=_service(given, environ, path.parent),
        own_device=_own_device(table),
        lines=lines,
        spool=_spool(table.table("spool"), path.parent),
        heartbeat_s=float(table.number("heartbeat_s", 1, 3600, 30)),
    )
    table.nothing_else()
    return configuration


def entries_of(lines: tuple[LinePlan, ...]) -> Iterator[tuple[LinePlan, Unit, Entry]]:
    """Yield every reading of every unit."""
    for line in lines:
        for unit in line.units:
            for entry in unit.map.entries:
                yield line, unit, entry


def _service(given: Mapping[str, str], environ: Mapping[str, str], folder: Path) -> Service:
    def said(name: str) -> str:
        return setting(name, given.get(name, ""), environ, in_file=True)

    server, site, name = parse_server(said("server")), said("site"), said("name")
    if not _NAME.fullmatch(site):
        raise WrongError(
            f"{site!r} cannot name a site",
            where="site, or JOULEBOOK_BRIDGE_SITE",
            expected="lower-case letters, digits and '-', as studio",
            next_step="check the name of the site in the service",
        )
    token_file, *certificate = (
        str(folder / given[key]) if given[key] else ""
        for key in ("token_file", "certificate", "key")
    )
    token = setting("token", "", environ, token_file, in_file=True)
    return Service(server, site, Credentials(name, token, *own_certificate(environ, *certificate)))


def _own_device(table: Table) -> str:
    name = table.text("own_device", OWN_KIND)
    if not _NAME.fullmatch(name) or name.partition("-")[0] != OWN_KIND:
        raise table.wrong(
            "own_device", f"{name!r} cannot name a bridge", f"{OWN_KIND!r}, or as 'bridge-2'"
        )
    return name


def _lines(table: Table, folder: Path) -> tuple[LinePlan, ...]:
    maps = table.table("map").named_tables()
    lines: list[LinePlan] = []
    taken: dict[tuple[str, str], str] = {}
    for each in table.tables("line"):
        address = parse_line(each.text("url"), where=each.where("url"))
        if any(line.address == address for line in lines):
            raise each.wrong("url", f"{address} is there twice", "each line once, with all units")
        timeout_s = float(each.number("timeout_s", 0.05, 30, 1))
        units = tuple(_unit(unit, maps, folder, taken) for unit in each.tables("unit"))
        each.nothing_else()
        if not units:
            raise each.wrong("unit", "nothing is read from this line", "at least one [[line.unit]]")
        lines.append(LinePlan(address, timeout_s, units))
    if not lines:
        raise table.wrong("line", "there is no line to read", "at least one [[line]]")
    return tuple(lines)


def _unit(
    table: Table, maps: Mapping[str, Table], folder: Path, taken: dict[tuple[str, str], str]
) -> Unit:
    number = table.whole("number", 0, 255)
    name = table.text("map")
    names = table.texts("devices")
    table.nothing_else()
    if name in maps:
        found = parse_map(maps[name])
    elif name.endswith(".toml"):
        found = parse_map(read_toml(folder / name))
    else:
        known = ", ".join(sorted(maps)) or "none in this file"
        raise table.wrong("map", f"there is no map {name!r}", f"a [map.{name}] ({known}) or a file")
    entries: list[Entry] = []
    for entry in found.entries:
        device = names.get(entry.device, entry.device)
        _check_name(table, entry.device, device)
        first = taken.setdefault((device, entry.quantity), table.where())
        if first != table.where() or (device, entry.quantity) in {
            (other.device, other.quantity) for other in entries
        }:
            raise table.wrong(
                "devices",
                f"{device}/{entry.quantity} is read twice, first at {first}",
                "each quantity of a device from one place",
                f'leave one out, or add  devices = {{ {entry.device} = "{entry.device}-2" }}',
            )
        entries.append(replace(entry, device=device))
    for old in names:
        if old not in {entry.device for entry in found.entries}:
            raise table.wrong("devices", f"the map has no device {old!r}", "a device of the map")
    return Unit(number, replace(found, entries=tuple(entries)))


def _check_name(table: Table, old: str, new: str) -> None:
    kind = old.partition("-")[0]
    if not _NAME.fullmatch(new) or new.partition("-")[0] != kind or kind == OWN_KIND:
        raise table.wrong(
            "devices",
            f"{old!r} cannot become {new!r}",
            f"the same kind with a suffix, as {kind}-2",
        )


def _spool(table: Table, folder: Path) -> SpoolPlan:
    plan = SpoolPlan(
        folder=folder / table.text("folder", "spool"),
        most_bytes=int(table.number("most_mb", 1, 1_000_000, 2000) * _MB),
        keep_free_bytes=int(table.number("keep_free_mb", 0, 1_000_000, 100) * _MB),
        when_full=table.choice("when_full", (DROP_OLDEST, STOP), DROP_OLDEST),
        sync_s=float(table.number("sync_s", 0, 60, 1)),
        clock_wait_s=float(table.number("clock_wait_s", 0, 86_400, 60)),
    )
    table.nothing_else()
    return plan
