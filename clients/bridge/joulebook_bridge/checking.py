"""Every link from the equipment to the service, in order, with the next step in words."""

import datetime
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from joulebook_bridge.clock import Clock
from joulebook_bridge.configuration import Configuration, LinePlan, SpoolPlan, Unit
from joulebook_bridge.deliver import deliver, topic_of
from joulebook_bridge.errors import AwayError, BridgeError, WrongError
from joulebook_bridge.modbus.faults import LineFault, RefusedFault, UnreachableFault
from joulebook_bridge.modbus.lines import Line
from joulebook_bridge.modbus.reading import StrangerFault, group_readers
from joulebook_bridge.pack import pack_rows
from joulebook_bridge.running import open_spool
from joulebook_bridge.spool.gate import latest_of
from joulebook_bridge.spool.room import free_bytes

_TIMEOUT_S = 10.0


@dataclass(frozen=True, slots=True)
class Link:
    """What was found of one link.

    Attributes
    ----------
    next_step : str
        What to do; empty where all is well.
    exit_status : int
        As the command's; 0 where all is well.
    """

    name: str
    found: str
    next_step: str = ""
    exit_status: int = 0

    def __str__(self) -> str:
        mark = "FAIL" if self.exit_status else "look" if self.next_step else "ok  "
        told = f"{mark}  {self.name}: {self.found}"
        return f"{told}\n      next: {self.next_step}" if self.next_step else told


def check(configuration: Configuration, clock: Clock) -> Iterator[Link]:
    """Yield the links as they are looked at, from the equipment to the service."""
    for plan in configuration.lines:
        yield from _check_line(plan, clock)
    yield from _check_spool(configuration.spool, clock)
    yield from _check_service(configuration, clock)


def _check_line(plan: LinePlan, clock: Clock) -> Iterator[Link]:
    line = Line(plan.address, timeout_s=plan.timeout_s)
    try:
        for unit in plan.units:
            name = f"unit {unit.number} on {plan.address}"
            try:
                yield from _check_unit(name, unit, line, clock)
            except UnreachableFault as fault:
                yield Link(f"line {plan.address}", str(fault), _line_advice(plan), 3)
                return
            except StrangerFault as fault:
                yield Link(name, str(fault), "scan the line again, or correct the map", 2)
            except LineFault as fault:
                yield Link(
                    name,
                    str(fault),
                    "is it switched on, and is the unit's number right? On a serial line check "
                    "baud and parity, and whether A and B are swapped. Work on wiring is for a "
                    "qualified person, with the equipment off and locked out",
                    3,
                )
    finally:
        line.close()


def _line_advice(plan: LinePlan) -> str:
    if str(plan.address).startswith("serial"):
        return "check that the adapter is plugged in and that this user may open the port"
    return "check host and port, the network, and that Modbus is switched on in the equipment"


def _check_unit(name: str, unit: Unit, line: Line, clock: Clock) -> Iterator[Link]:
    for expectation in unit.map.expectations:
        at = expectation.registers
        found = tuple(line.read(unit.number, at.function, at.address, at.count))
        if found != expectation.words:
            raise StrangerFault(at.address, expectation.words, found)
    refusals: list[str] = []

    def note(what: str, fault: RefusedFault) -> None:
        refusals.append(f"{what}: {fault}")

    told = []
    for reader in group_readers(unit):
        for batch in reader.read(line, clock.now, note):
            pairs = zip(batch.shape.columns, batch.values, strict=True)
            told += [
                f"{batch.shape.device}/{quantity} {value:.10g} {of}".rstrip("/ ")
                for (quantity, of), value in pairs
            ]
    undecided = [
        f"{entry.device}/{entry.quantity}" for entry in unit.map.entries if entry.meaning is None
    ]
    if refusals:
        yield Link(name, "; ".join(refusals), "correct these addresses in its register map", 2)
    elif not told:
        yield Link(name, "it answers, and gives no reading", "check its register map", 2)
    else:
        yield Link(name, f"{unit.map.name}: {', '.join(told)}")
    if undecided:
        yield Link(
            name,
            f"{' and '.join(undecided)} not sent: nobody knows which sign is which",
            "scan again while the battery charges or discharges, or set positive_means",
        )


def _check_spool(plan: SpoolPlan, clock: Clock) -> Iterator[Link]:
    try:
        spool = open_spool(plan, clock)
    except AwayError:
        yield Link("spool", f"a running bridge uses {plan.folder}")
        yield _clock_link(clock, latest_of(plan.folder / "latest"))
        return
    except WrongError as error:
        yield Link("spool", error.what, error.next_step, error.exit_status)
        return
    try:
        waiting, aside = spool.waiting_readings(), spool.aside_readings()
        free = free_bytes(plan.folder)
        found = f"{waiting} readings wait in {plan.folder}, {free / 1e6:.0f} MB are free"
        if free < plan.keep_free_bytes:
            yield Link("spool", found, "make room on that disk, or lower keep_free_mb", 3)
        elif aside:
            yield Link("spool", f"{found}; {aside} have times that nobody knows", "keep or delete")
        else:
            yield Link("spool", found)
        yield _clock_link(clock, latest_of(plan.folder / "latest"))
    finally:
        spool.close()


def _clock_link(clock: Clock, latest_ms: int) -> Link:
    now = clock.now()
    told = datetime.datetime.fromtimestamp(now.wall_ms / 1000, datetime.UTC)
    shown = f"{told:%Y-%m-%d %H:%M:%S} UTC"
    if clock.is_set():
        return Link("clock", f"{shown}, set by a time server")
    if now.wall_ms < latest_ms:
        return Link("clock", f"{shown} is in the past", "set it, or let it ask a time server", 3)
    return Link(
        "clock",
        f"{shown}, and nobody confirms it",
        "let this machine ask a time server; after a start, readings wait clock_wait_s for that",
    )


def _check_service(configuration: Configuration, clock: Clock) -> Iterator[Link]:
    service = configuration.service
    topic = topic_of(service.site, configuration.own_device)
    pack = pack_rows((("checked", "count"),), ((clock.wall_ms(), (1.0,)),))
    try:
        took_s = deliver(service.server, service.credentials, topic, pack, timeout_s=_TIMEOUT_S)
    except BridgeError as error:
        yield Link(f"service {service.server}", error.what, error.next_step, error.exit_status)
        return
    yield Link(
        f"service {service.server}",
        f"took a reading of {service.site} from {service.credentials.name} in "
        f"{took_s * 1000:.0f} ms",
    )


def report(configuration: Configuration, clock: Clock, say: Callable[[str], None]) -> int:
    """Say what was found link by link, and return the exit status of the first that fails."""
    status = 0
    for link in check(configuration, clock):
        say(str(link))
        status = status or link.exit_status
    say("all links hold" if not status else "a link does not hold; its next step is beside it")
    return status
