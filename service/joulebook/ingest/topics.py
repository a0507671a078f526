"""The topic of a message: ``joulebook/v1/{site}/{device}``, and nothing else."""

import re
from dataclasses import dataclass

from joulebook.ingest.wording import shown

PREFIX = "joulebook/v1/"

#: A site or a device: lower-case letters, digits and "-", not "-" first, at most 63 characters.
NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,62}")
NAME_RULE = "1 to 63 lower-case letters, digits and '-', beginning with a letter or digit"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a topic says that its readings belong."""

    site: str
    device: str


def parse_topic(topic: str) -> Place:
    """Return the site and the device of a topic.

    Raises
    ------
    ValueError
        With a sentence that says which part is wrong and what was expected.
    """
    if not topic.startswith(PREFIX):
        raise ValueError(f"the topic is {shown(topic)}; expected {PREFIX}SITE/DEVICE")
    parts = topic.removeprefix(PREFIX).split("/")
    if len(parts) != 2:
        raise ValueError(
            f"the topic {shown(topic)} has {len(parts)} parts after {PREFIX}; expected SITE/DEVICE"
        )
    for word, part in zip(("site", "device"), parts, strict=True):
        if not NAME.fullmatch(part):
            raise ValueError(f"{shown(part)} cannot name a {word}; expected {NAME_RULE}")
    return Place(*parts)
