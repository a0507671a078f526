import json
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats, Instants
from joulebook.summaries.columns import packed, unpacked


@dataclass(frozen=True, slots=True, kw_only=True)
class Inner:
    value: Floats
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outer:
    at_ms: Instants
    value: Floats
    flag: NDArray[np.bool_]
    inner: Inner


def test_arrays_go_to_json_and_back() -> None:
    outer = Outer(
        at_ms=np.array([1_772_366_400_000, 2]),
        value=np.array([0.123456789, np.nan]),
        flag=np.array([True, False]),
        inner=Inner(value=np.empty(0), step=0.5),
    )
    document = packed(outer)
    assert document["value"] == [0.12346, None]
    back = unpacked(Outer, json.loads(json.dumps(document, allow_nan=False)))
    assert back.at_ms.tolist() == [1_772_366_400_000, 2]
    assert back.at_ms.dtype == np.int64
    assert np.array_equal(back.value, [0.12346, np.nan], equal_nan=True)
    assert back.flag.dtype == np.bool_
    assert (back.inner.value.size, back.inner.step) == (0, 0.5)
