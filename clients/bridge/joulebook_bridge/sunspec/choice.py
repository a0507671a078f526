"""Which readings of several units are of one device, and which of another."""

from collections.abc import Sequence
from dataclasses import replace

from joulebook_bridge.sunspec.mapping import Match, matches
from joulebook_bridge.sunspec.walk import Model

#: What a battery says of itself, and what an inverter says of a battery that hangs on it.
_BATTERY_ITSELF = frozenset({802, 803, 804, 805})
_BATTERY_SEEN = frozenset({124, 713, 714})


def choose(units: Sequence[Sequence[Model]]) -> list[list[Match]]:
    """Return for each unit what is read from it, under the names of our devices.

    A battery that answers for itself and an inverter that tells of its battery are taken for the
    same one: the inverter then only adds what the battery does not give. With several such
    batteries nobody can tell which of them an inverter means, so its word is left out. Direct
    current of an inverter is a battery's only where there is a battery; else it is of panels.
    """
    found = [matches(models) for models in units]
    batteries = [_has(models, _BATTERY_ITSELF) for models in units]
    any_battery = any(_has(models, _BATTERY_ITSELF | _BATTERY_SEEN) for models in units)
    own = {
        match.target.quantity
        for chosen, itself in zip(found, batteries, strict=True)
        if itself
        for match in chosen
        if _kind(match) == "battery"
    }
    numbers: dict[str, int] = {}
    result = []
    for chosen, itself in zip(found, batteries, strict=True):
        guest = any(batteries) and not itself
        kept = [match for match in chosen if any_battery or not match.target.sign_of]
        if guest:
            alone = sum(batteries) == 1
            kept = [
                match
                for match in kept
                if _kind(match) != "battery" or (alone and match.target.quantity not in own)
            ]
        names: dict[str, str] = {}
        for device in dict.fromkeys(match.target.device for match in kept):
            kind = device.partition("-")[0]
            if guest and kind == "battery":
                names[device] = device
                continue
            number = numbers[kind] = numbers.get(kind, 0) + 1
            names[device] = kind if number == 1 else f"{kind}-{number}"
        result.append(
            [
                replace(match, target=replace(match.target, device=names[match.target.device]))
                for match in kept
            ]
        )
    return result


def _has(models: Sequence[Model], ids: frozenset[int]) -> bool:
    return any(model.id in ids for model in models)


def _kind(match: Match) -> str:
    return match.target.device.partition("-")[0]
