"""All checks of a site, in the order in which a person would go through them."""

from collections.abc import Iterator

from joulebook.core.checks.agreement import COUNTERS, agreement
from joulebook.core.checks.balancing import balanced
from joulebook.core.checks.clocks import clock, noon
from joulebook.core.checks.finding import Finding
from joulebook.core.checks.hearing import gaps, heard
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.checks.legs import legs, neutral
from joulebook.core.checks.limits import limits
from joulebook.core.checks.lugs import lugs
from joulebook.core.checks.product import current_sign, product
from joulebook.core.checks.stuck import stuck


def run_checks(inputs: CheckInputs) -> tuple[Finding, ...]:
    """Return what the checks found: first what is heard, then signs and scales, then wiring."""
    return tuple(_findings(inputs))


def _findings(inputs: CheckInputs) -> Iterator[Finding]:
    devices = sorted(inputs.site_series)
    for check in (heard, gaps, clock, stuck, limits):
        yield from (check(inputs, device) for device in devices)
    yield noon(inputs)
    yield from balanced(inputs)
    for device in (*inputs.of_kind("battery"), *inputs.of_kind("pv")):
        if inputs.site_series[device].issuperset(("power", "voltage", "current")):
            yield product(inputs, device)
    for kind in COUNTERS:
        for device in inputs.of_kind(kind):
            yield from agreement(inputs, device, kind)
    yield from _wiring(inputs)


def _wiring(inputs: CheckInputs) -> Iterator[Finding]:
    batteries, inverters = inputs.of_kind("battery"), inputs.of_kind("inverter")
    for device in batteries:
        yield current_sign(inputs, device)
    # With several of either nobody says which hangs on which.
    if len(batteries) == len(inverters) == 1:
        yield lugs(inputs, batteries[0], inverters[0])
    for device in inputs.of_kind("load"):
        if inputs.site_series[device].issuperset(("power_l1", "power_l2")):
            yield legs(inputs, device)
    for device in inputs.of_kind("grid"):
        if inputs.site_series[device].issuperset(("voltage_l1", "voltage_l2")):
            yield neutral(inputs, device)
