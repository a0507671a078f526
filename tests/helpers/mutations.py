"""Bytes that are almost right: what a broken or hostile sender makes of good ones."""

import copy
import json
import random
from collections.abc import Sequence
from typing import Any

import cbor2

# Values at the edges of one byte, and those that mean something in packets, CBOR and text.
_TELLING = b'\x00\x01\x0f\x10\x30\x3f\x7f\x80\xbf\xc0\xe0\xff"{}[],:\\/+#$\r\n'

# What a value should not be, or hardly ever is.
_ODD: tuple[Any, ...] = (
    *(None, True, False, 0, -0.0, 1, -1, 1.5, 1e308, -1e308, 5e-324, 2**31, 2**53 + 1, 2**63),
    *(-(2**70), 10**400, float("nan"), float("inf"), "", "é", "a\0b", "x" * 300, "power", "V", "%"),
    *(b"", b"\xff", [], {}, [[[[]]]], {"v": 1}, {"n": {"n": {}}}, [None] * 40),
    *(cbor2.CBORTag(4, [-1, 5]), cbor2.CBORTag(99, "x"), cbor2.undefined),
)
_LABELS: tuple[Any, ...] = (
    *("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"),
    *("x_", "at", "lines", -1, -2, -3, 0, 2, 6, 2.5),
)


def _as_json(value: Any) -> Any:
    """Return a value as JSON can say it."""
    if isinstance(value, dict):
        return {str(key): _as_json(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_as_json(each) for each in value]
    if isinstance(value, None | bool | int | float | str):
        return value
    return str(value)


class Mutator:
    """Changes bytes at random, the same way for the same seed.

    Parameters
    ----------
    seed : int
        Of the random numbers.
    corpus : sequence of bytes
        Good examples: mutations begin with one, and parts of others are spliced in.
    """

    def __init__(self, seed: int, corpus: Sequence[bytes]) -> None:
        self.rng = random.Random(seed)
        self._corpus = corpus

    def one(self) -> bytes:
        """Return an example with one to four changes, seldom many."""
        out = bytearray(self.rng.choice(self._corpus))
        for _ in range(self.rng.choice((1, 1, 1, 2, 3, 4))):
            self._change(out)
        return bytes(out)

    def document(self) -> bytes:
        """Return an example that is still JSON or CBOR, with something else in one or two places.

        Where the example is neither, it is changed as bytes.
        """
        raw = self.rng.choice(self._corpus)
        try:
            value = json.loads(raw)
        except ValueError:
            try:
                value = cbor2.loads(raw)
            except Exception:  # noqa: BLE001 - a bad example of the wire format
                return self.one()
        for _ in range(self.rng.randint(1, 2)):
            value = self._elsewise(value)
        if self.rng.random() < 0.5:
            return json.dumps(_as_json(value)).encode()
        return cbor2.dumps(value)

    def _elsewise(self, value: Any) -> Any:
        """Return a value with one place of it left out, doubled or filled with something odd."""
        if not isinstance(value, dict | list) or not value or self.rng.random() < 0.1:
            return self._odd()
        keys = list(value) if isinstance(value, dict) else list(range(len(value)))
        key = self.rng.choice(keys)
        match self.rng.randrange(6):
            case 0:
                del value[key]
            case 1 if isinstance(value, list):
                value.insert(key, value[key])
            case 2 if isinstance(value, dict):
                value[self.rng.choice(_LABELS)] = self._odd()
            case _:
                value[key] = self._elsewise(value[key])
        return value

    def _odd(self) -> Any:
        odd = self.rng.choice(_ODD)
        return copy.deepcopy(odd) if isinstance(odd, dict | list) else odd

    def _change(self, out: bytearray) -> None:
        rng, at = self.rng, self.rng.randrange(len(out) + 1)
        match rng.randrange(8):
            case 0:  # another value
                out[at : at + 1] = bytes((rng.choice(_TELLING),))
            case 1:  # any value
                out[at : at + 1] = rng.randbytes(1)
            case 2:  # one bit
                if at < len(out):
                    out[at] ^= 1 << rng.randrange(8)
            case 3:  # left out
                del out[at : at + rng.randint(1, 8)]
            case 4:  # doubled, once or many times
                part = bytes(out[at : at + rng.randint(1, 16)])
                out[at:at] = part * rng.choice((1, 1, 1, 50))
            case 5:  # put in
                out[at:at] = rng.randbytes(rng.randint(1, 8))
            case 6:  # cut short
                del out[at:]
            case _:  # the rest of another one
                other = rng.choice(self._corpus)
                out[at:] = other[rng.randrange(len(other) + 1) :]
