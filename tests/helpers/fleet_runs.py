"""A run over fleets in round numbers, as `joulebook bench --fleet --json` prints one."""

from typing import Any

KEYS = (
    *("arrive", "ingest", "recompute", "order", "seal", "vacuum", "list", "watch"),
    *("week", "homes", "hot", "sealed"),
)


def round_run() -> dict[str, Any]:
    """Return a document of two rounds, whose numbers are easy to reckon with.

    A message costs a copy 0.1 ms and the server 0.4 ms, a reading 200 B of log, 30 B hot, 0.5 B
    sealed; a sealed row costs 10 µs of vacuum beside half a second for nothing.
    """
    grown = {"exponent": 1.0, "low": 0.98, "high": 1.02, "rounds": 4}
    return {
        "conditions": {
            "joulebook": "1.2.3",
            "homes": [10, 1000],
            "rounds": 2,
            "server_version": "15.1",
            "fsync": "on",
            "synchronous_commit": "on",
            "python": "3.11.0",
            "cores": 2,
            "processor": "a processor",
            "nice": 0,
            "hours": {"instants": 25, "step_s": 150, "variants": 8},
            "quick": False,
        },
        "machine": {"load_before": 0.4, "load_after": 2.0, "quiet": None},
        "costs": [
            {
                "key": key,
                "title": f"cost of {key}",
                "unit": {"week": "ms", "homes": "ms", "hot": "B", "sealed": "B"}.get(key, "s"),
                "totals": {"10": 0.5, "1000": 50.0},
                "of_a_home": 0.05,
                "exponent": grown | ({"exponent": 0.1} if key == "homes" else {}),
                "exponent_of_the_last_step": grown,
                "at_most": 1.05,
                "holds": True,
            }
            for key in KEYS
        ],
        "home": {
            "days": 28,
            "readings": 4_838_400,
            "hot_bytes": 30.0,
            "sealed_bytes": 0.5,
            "day": {"took_s": 0.08, "own_s": 0.05},
            "seal": {"took_s": 0.02, "own_s": 0.01},
            "record": {"took_s": 0.02, "own_s": 0.01},
            "back": {"took_s": 0.2, "own_s": 0.1},
        },
        "rounds": [_round(10, 1000, 0.5), _round(1000, 100_000, 1.49)] * 2,
    }


def _round(homes: int, messages: int, vacuum_s: float) -> dict[str, Any]:
    return {
        "homes": homes,
        "messages": messages,
        "readings": messages * 5,
        "own_s": messages * 0.0001,
        "log": messages * 1000,
        "of": {
            "ingest": messages * 0.0005,
            "vacuum": vacuum_s,
            "order": 2.0,
            "list": 0.05,
            "watch": 0.3,
        },
        "p95_ms": {"week": 50.0, "homes": 30.0},
    }
