"""Simulated homes with known truth, independent of the product's own computations.

One home: ``simulate(draw_homes(1, seed=7, years=1))[0]``; its ``history`` and ``powers`` are what
the product is given, ``truth`` is what it should find. Many: ``kept_homes(draw_homes(60, seed=1),
folder)`` gives one after another and keeps them in a folder, so that only the first run waits
(about four minutes of one core for 64 homes and three years logged every minute). To tune fast,
take ``replace(spec, step_s=300, inner_s=300)``: a fifth of the time.

What the truths mean: capacity is the charge from full (held at the home's full voltage until the
current has died away) to empty (the steep end of the curve, 2.72 V a cell at rest), slowly and at
25 °C. Round trip is energy out over energy in at the terminals between full charges.
"""

from tests.helpers.homes.draw import draw_homes
from tests.helpers.homes.home import Home
from tests.helpers.homes.kept import kept, kept_homes
from tests.helpers.homes.named import named_homes
from tests.helpers.homes.simulation import simulate
from tests.helpers.homes.spec import HomeSpec
from tests.helpers.homes.truth import Truth
from tests.helpers.homes.written import write_csv

__all__ = [
    "Home",
    "HomeSpec",
    "Truth",
    "draw_homes",
    "kept",
    "kept_homes",
    "named_homes",
    "simulate",
    "write_csv",
]
