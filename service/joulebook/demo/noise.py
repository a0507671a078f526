"""Noise that belongs to an instant: asked again for the same instant, it is the same again.

A generator would give another noise whenever somebody asks at a finer step. The mixing function
is the finaliser of SplitMix64 (G. L. Steele, D. Lea and C. H. Flood, OOPSLA 2014).
"""

import zlib

import numpy as np
from numpy.typing import NDArray

from joulebook.demo.sun import Floats

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
_WORD = np.uint64(0xFFFF)


def bell(at_ms: NDArray[np.int64], name: str) -> Floats:
    """Return bell-shaped noise of mean 0 and deviation 1 for each instant; never beyond 3.5.

    The sum of four even draws is close enough to a normal one, and needs no logarithm, whose
    last bit differs between machines.
    """
    bits = _mixed(at_ms, name)
    total = (bits & _WORD) + (bits >> np.uint64(16) & _WORD)
    total += (bits >> np.uint64(32) & _WORD) + (bits >> np.uint64(48))
    return np.asarray((total / 65536.0 - 2.0) * np.sqrt(3.0))


def chance(at_ms: NDArray[np.int64], name: str) -> Floats:
    """Return an even draw from 0 to 1 for each instant."""
    return np.asarray((_mixed(at_ms, name) >> np.uint64(11)) * 2.0**-53)


def _mixed(at_ms: NDArray[np.int64], name: str) -> NDArray[np.uint64]:
    key = np.uint64(zlib.crc32(name.encode()) << 24)
    bits = (at_ms.astype(np.uint64) ^ key) * _GOLDEN
    bits = (bits ^ (bits >> np.uint64(30))) * _MIX_1
    bits = (bits ^ (bits >> np.uint64(27))) * _MIX_2
    return np.asarray(bits ^ (bits >> np.uint64(31)))
