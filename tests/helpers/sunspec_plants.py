"""Equipment that describes itself, composed from images of models and from definitions."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from joulebook_bridge.simulate.layouts import model_words
from joulebook_bridge.sunspec.walk import MARKER, Model
from tests.helpers.modbus_servers import words_at

#: Images of models 802, 103 and 713, with what pysunspec2 reads in them.
IMAGES: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "data" / "sunspec_images.json").read_text(encoding="utf-8")
)
COMMON = model_words(1, {"Mn": "Clay", "Md": "Works 6", "Vr": "1.2", "SN": "7"})
ZONE_END = [0xFFFF, 0]


def image(model_id: int) -> list[int]:
    """Return the words of a model's image."""
    return list(IMAGES[str(model_id)]["registers"])


def changed(model_id: int, **values: int) -> list[int]:
    """Return an image with other words at some of its points."""
    words = image(model_id)
    names = list(IMAGES[str(model_id)]["decoded"])
    sizes = {"NCyc": 2, "WarrDt": 2, "Evt1": 2, "Evt2": 2, "EvtVnd1": 2, "EvtVnd2": 2}
    for name, value in values.items():
        place = sum(sizes.get(before, 1) for before in names[: names.index(name)])
        words[place] = value & 0xFFFF
    return words


def model(words: Sequence[int], address: int = 40070) -> Model:
    return Model(words[0], address, tuple(words))


def chain(
    *models: Sequence[int], base: int = 40000, end: Sequence[int] = ZONE_END
) -> dict[int, int]:
    """Return the registers of a unit with these models, after the common one."""
    words = [*MARKER, *COMMON]
    for each in models:
        words += each
    return words_at(base, [*words, *end])
