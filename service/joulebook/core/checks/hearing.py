"""Whether devices are heard from, and how much of the time."""

import numpy as np

from joulebook.core.checks.finding import BATTERY_CAUTION, Finding, unclear
from joulebook.core.checks.inputs import CheckInputs, spoken
from joulebook.core.curves import usual_max_gap_s

#: Silence after this many usual spacings, and this long at least, is trouble (our choice).
SILENT_SPACINGS = 10.0
SILENT_S = 900.0
#: A device that is heard for less of the time has gaps worth looking for (our choice).
LEAST_HEARD_RATIO = 0.97

_LOOK_AT = (
    "the device's power and cable, the bridge's own page or log, and whether somebody else is "
    "asking the same device"
)


def heard(inputs: CheckInputs, device: str) -> Finding:
    """Return how long ago a device was last heard from."""
    found = inputs.devices.get(device)
    if found is None or not found.at_ms.size:
        return Finding(
            name="heard",
            device=device,
            verdict="trouble",
            sentence=f"{device} was not heard from in the last {len(inputs.days)} days",
            evidence={"readings_count": 0.0},
            look_at=_LOOK_AT,
            caution=BATTERY_CAUTION,
            coverage_ratio=0.0,
        )
    ago_s = (inputs.now_ms - int(found.at_ms[-1])) / 1000
    usual_s = float(np.median(np.diff(found.at_ms))) / 1000 if found.at_ms.size > 1 else 0.0
    silent = ago_s > max(SILENT_SPACINGS * usual_s, SILENT_S)
    return Finding(
        name="heard",
        device=device,
        verdict="trouble" if silent else "good",
        sentence=f"{device} was last heard from {spoken(max(ago_s, 0.0))} ago",
        evidence={"ago_s": ago_s, "usual_spacing_s": usual_s},
        look_at=_LOOK_AT if silent else None,
        caution=BATTERY_CAUTION if silent else None,
        coverage_ratio=1.0,
    )


def gaps(inputs: CheckInputs, device: str) -> Finding:
    """Return how much of the time a device was heard, since its first reading of the days."""
    found = inputs.devices.get(device)
    at_ms = np.empty(0, np.int64) if found is None else found.at_ms
    at_ms = at_ms[(at_ms >= inputs.span.start_ms) & (at_ms < inputs.span.end_ms)]
    if at_ms.size < 2:
        return unclear("gaps", f"{device} sent too few readings to tell", device=device)
    limit_s = usual_max_gap_s(at_ms)
    steps_s = np.diff(np.append(at_ms, inputs.now_ms)) / 1000
    lost_s = steps_s[steps_s > limit_s]
    whole_s = (inputs.now_ms - int(at_ms[0])) / 1000
    ratio = 1 - float(np.sum(lost_s)) / whole_s
    missing = ratio < LEAST_HEARD_RATIO
    longest_s = float(lost_s.max(initial=0.0))
    sentence = f"{device} was heard for {ratio:.1%} of the time"
    if lost_s.size:
        sentence += f"; the longest of {lost_s.size} silences lasted {spoken(longest_s)}"
    return Finding(
        name="gaps",
        device=device,
        verdict="trouble" if missing else "good",
        sentence=sentence,
        evidence={
            "heard_ratio": ratio,
            "silences_count": float(lost_s.size),
            "longest_silence_s": longest_s,
        },
        look_at=_LOOK_AT if missing else None,
        coverage_ratio=whole_s / inputs.span.length_s,
    )
