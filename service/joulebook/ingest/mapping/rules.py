"""What a mapping file says, checked: which topics, and where in a payload each reading is."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

#: How a time in a payload is written.
TimeForm = Literal["seconds", "milliseconds", "text"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingRule:
    """Where one quantity is found, and what makes it a reading of ours.

    Attributes
    ----------
    quantity : str
        Our name of it.
    at : tuple of str
        Tokens of a JSON Pointer (RFC 6901); none where the payload itself is the value.
    unit : str
        A SenML unit of the value after ``scale``; empty for texts and flags.
    scale : Decimal
        The number in the payload times this is in the unit; negative turns the sign round.
    missing : tuple
        Values that say that there was none.
    """

    quantity: str
    at: tuple[str, ...]
    unit: str
    scale: Decimal
    missing: tuple[Decimal | str | bool, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MappingRule:
    """Topics of another bridge, and the device of ours that their readings belong to.

    Attributes
    ----------
    topic : str
        A topic filter.
    site, device : str
        Names of ours; ``{1}`` in the device stands for what the first ``+`` took.
    time : tuple of str or None
        Where the time is; ``None`` takes that of receipt.
    time_form : str
        How it is written: seconds or milliseconds since 1970, or text by RFC 3339.
    readings : tuple of ReadingRule
        One at least.
    """

    topic: str
    site: str
    device: str
    time: tuple[str, ...] | None
    time_form: TimeForm
    readings: tuple[ReadingRule, ...]
