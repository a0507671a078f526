"""A configuration with comments, written from what a scan found."""

from collections.abc import Sequence

from joulebook_bridge.modbus.addresses import LineAddress
from joulebook_bridge.register_map import UNDECIDED
from joulebook_bridge.sunspec.choice import choose
from joulebook_bridge.sunspec.mapping import Match, charging_is_positive
from joulebook_bridge.sunspec.models import label
from joulebook_bridge.sunspec.scan import Found, facts, is_directed, shown
from joulebook_bridge.sunspec.walk import MARKER

_SLOW = frozenset({122, 713, 803, 804, 805})
_HEAD = """\
# A configuration of joulebook-bridge, written by 'joulebook-bridge scan {address}'.
# It only reads: the bridge has no function that writes to equipment.
#
#   joulebook-bridge check THIS_FILE    looks at every link and says what is missing
#   joulebook-bridge run THIS_FILE      reads and delivers until it is stopped
#
# Where readings go. The environment counts over these: JOULEBOOK_BRIDGE_SERVER, _SITE, _NAME,
# and _TOKEN, which is a secret and rather not in this file.
#server = "mqtt://127.0.0.1:1883"
#site = "studio"
#name = "shed"
#token_file = "token"    # a file beside this one that only the bridge may read
#heartbeat_s = 30        # how often the bridge reports of itself
#own_device = "bridge"   # under which name; another one where a site has several bridges

[spool]
folder = "spool"         # beside this file: readings wait there until the service has them
#most_mb = 2000
#keep_free_mb = 100      # room on that disk that is left to others
#when_full = "drop oldest"    # or "stop": take no new readings and keep the old ones

[[line]]
url = "{address}"
#timeout_s = 1           # how long a unit may take to answer
"""
_UNIT = """
  [[line.unit]]
  number = {unit}
  map = "unit-{unit}"    # below; a file such as "my-inverter.toml" works too
"""
_NO_MODELS = """
  # Unit {unit} answers, and describes nothing that is measured. Write a map for it
  # (docs/register-maps.md shows how) and take the marks away:
  #[[line.unit]]
  #number = {unit}
  #map = "my-equipment.toml"
"""
_MAP = """
# ---- unit {unit}: {name}
{facts}
[map.unit-{unit}]
format = 1
name = "{name}"
skip = 40                # registers between two readings may be read along

[map.unit-{unit}.groups]
fast.every_s = 1
slow.every_s = 30
"""
_EXPECT = """
[[map.unit-{unit}.expect]]    # {what}
address = {address}
words = [{words}]
"""
_READING = """
[[map.unit-{unit}.reading]]    # model {model}, {point}; at the scan: {shown}
device = "{device}"
quantity = "{quantity}"
unit = "{of}"
address = {address}
type = "{type}"
group = "{group}"
"""


def configuration_of(address: LineAddress, found: Sequence[Found]) -> str:
    """Return the text of a configuration that reads what was found.

    Parameters
    ----------
    found : sequence of Found
        Units without models of their own get a commented place for a register map.
    """
    chosen = choose([each.models for each in found])
    units, maps = [], []
    for each, matches in zip(found, chosen, strict=True):
        if each.chain is None or not matches:
            units.append(_NO_MODELS.format(unit=each.unit))
        else:
            units.append(_UNIT.format(unit=each.unit))
            maps.append(_map(each, each.chain.base, matches))
    return "".join([_HEAD.format(address=address), *units, *maps])


def _map(found: Found, base: int, chosen: Sequence[Match]) -> str:
    told = "\n".join(f"# {fact}" for fact in facts(found.models))
    parts = [_MAP.format(unit=found.unit, name=_quoted(found.name()), facts=told)]
    used = {match.model.address: match.model for match in chosen}
    parts.append(
        _EXPECT.format(
            unit=found.unit,
            what="that it still describes itself here",
            address=base,
            words=", ".join(map(str, MARKER)),
        )
    )
    for address, model in sorted(used.items()):
        parts.append(
            _EXPECT.format(
                unit=found.unit,
                what=f"model {model.id}, {label(model.id)}: new firmware may move it",
                address=address,
                words=f"{model.id}, {len(model.words) - 2}",
            )
        )
    parts += [_reading(found, match) for match in chosen]
    return "".join(parts)


def _reading(found: Found, match: Match) -> str:
    point, target = match.point, match.target
    lines = _READING.format(
        unit=found.unit,
        model=match.model.id,
        point=point.name,
        shown=shown(match),
        device=target.device,
        quantity=target.quantity,
        of=target.unit,
        address=match.model.address + point.offset,
        type=point.number.name,
        group="slow" if match.model.id in _SLOW else "fast",
    )
    if point.scale_offset is not None:
        lines += f"scale_address = {match.model.address + point.scale_offset}\n"
    if match.sign_at is not None:
        lines += f"sign_address = {match.model.address + match.sign_at.offset}\n"
    if target.divide_by != 1:
        lines += f"divide_by = {target.divide_by}\n"
    if point.not_available:
        lines += f"not_available = [{point.not_available[0]}]\n"
    if is_directed(match):
        lines += _direction(found, match)
    return lines


def _direction(found: Found, match: Match) -> str:
    charging = charging_is_positive(match, found.models)
    if charging is None:
        return (
            f'positive_means = "{UNDECIDED}"    # not sent until this says "charging" or '
            '"discharging".\n# SunSpec leaves the sign undefined: scan again while the battery '
            "charges or discharges.\n"
        )
    return f'positive_means = "{"charging" if charging else "discharging"}"\n'


def _quoted(name: str) -> str:
    return name.replace("\\", "").replace('"', "")
