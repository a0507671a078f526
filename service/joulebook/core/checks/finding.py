"""What one check found. Method `checks-2`, see ``docs/methods/checks.md``."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

METHOD = "checks-2"

Verdict = Literal["good", "trouble", "unclear"]

#: Shown with every finding that sends a person to the hardware.
BATTERY_CAUTION = (
    "A battery stays live with everything switched off, and a DC arc does not go out by itself. "
    "Isolate it and lock it out first, and leave work inside the enclosures to a qualified person "
    "under your local code."
)
PANEL_CAUTION = (
    "Behind the cover of a panel parts stay live even with the main breaker off. Leave the work "
    "to a licensed electrician under your local code."
)
NEUTRAL_CAUTION = (
    "A loose neutral can burn appliances and start a fire, and it gets worse under load. Switch "
    "off what you can and call a licensed electrician or your utility now; do not open the panel."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a check says of a device, or of the site.

    Attributes
    ----------
    name : str
        Of the check.
    device : str or None
        Which it is about; ``None`` is the site.
    verdict : ``good``, ``trouble`` or ``unclear``
        ``unclear`` where the readings do not tell.
    sentence : str
        What was found, for a person.
    evidence : mapping of str to float
        The numbers behind it, unit in the name.
    look_at : str or None
        What to do about it.
    caution : str or None
        What could hurt whoever does.
    coverage_ratio : float
        Share of the time looked at that the check could use.
    method : str
        Name and version.
    """

    name: str
    device: str | None = None
    verdict: Verdict
    sentence: str
    evidence: Mapping[str, float]
    look_at: str | None = None
    caution: str | None = None
    coverage_ratio: float
    method: str = METHOD


def unclear(
    name: str, sentence: str, *, device: str | None = None, coverage_ratio: float = 0.0
) -> Finding:
    """Return the finding of a check that the readings do not tell anything for."""
    return Finding(
        name=name,
        device=device,
        verdict="unclear",
        sentence=sentence,
        evidence={},
        coverage_ratio=coverage_ratio,
    )
