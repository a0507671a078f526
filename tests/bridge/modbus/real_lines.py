"""What is read over real lines: a plant of two units, and frames that standards print."""

import json
from pathlib import Path

from joulebook_bridge.modbus.addresses import NetworkLine
from joulebook_bridge.modbus.lines import Line
from tests.helpers.modbus_servers import plant_of, words_at

VECTORS = json.loads(
    (Path(__file__).parents[2] / "data" / "wire_vectors.json").read_text(encoding="utf-8")
)
PLANT = plant_of({1: words_at(0, range(100)) | words_at(107, [555, 0, 100]), 17: words_at(8, [10])})


def line_to(port: int, *, timeout_s: float = 0.25) -> Line:
    return Line(NetworkLine("127.0.0.1", port), timeout_s=timeout_s)
