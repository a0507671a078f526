"""Words of the planning page: what the simulation does, what it leaves out, and the cautions."""
# ruff: noqa: RUF001 -- true minus and multiplication signs, as a person reads them

from joulebook.web.words.texts import Working

PLAN_WORKING = Working(
    "Quarter hour by quarter hour: the house takes load ÷ share passed on from the DC side. What "
    "the panels give beyond that charges the battery, up to its power and its room, and the rest "
    "is sold; what is missing comes from the battery, down to its reserve, and the rest is bought. "
    "Would have been = as it was + simulation with the change − simulation of what is there.",
    "panels, use, grid by quarter hours of your last twelve months; the battery as measured",
    "Conservation of energy. The rule of serving the house first is the usual one; yours may "
    "differ: the interval is by how much the simulation misses your year, and 15 % of the change.",
)

LIMITS = (
    "Nobody changes what he does: the same use at the same hours, and what you add.",
    "The sun of these twelve months, not of the next. Another year can differ by a tenth or more.",
    "The inverter's limits are not in it: what it cannot pass on is cut in truth. "
    "Nor are breakers, cables, and how load lies on the two legs.",
    "More panels are taken to give at the same hours as those there are: another roof, tilt or "
    "shade gives at others.",
    "The battery never charges from the grid, nothing looks ahead, and the tariff is that of the "
    "months measured. What equipment costs to buy is not in it.",
    "Energy within a quarter hour is averaged: short loads above the battery's power are bought in "
    "truth.",
)

CAUTIONS = (
    "This is arithmetic on what was measured, and no design. Before anything is added, have a "
    "licensed electrician look at breakers, cables, grounding and disconnects, and ask what your "
    "local code and your utility require.",
    "Keep to the maker's limits: how many batteries, which ones may be joined, how many panels "
    "and at which voltage in the cold.",
    "Batteries and panels stay live when switched off. Do not open what you are not qualified to "
    "open.",
)

#: What the fields of the form are called.
LABELS = {
    "load_kw": "More power in use",
    "load_kwh": "More energy in use",
    "from": "From",
    "to": "To",
    "first": "First month",
    "last": "Last month",
    "panels": "Panels",
    "battery_kwh": "The battery holds",
    "charge_kw": "It takes at most",
    "discharge_kw": "It gives at most",
    "round_trip": "Gives back",
    "reserve": "Kept in reserve",
}
