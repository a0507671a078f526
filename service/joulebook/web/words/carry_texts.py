"""How the numbers about what a site can carry come about, for the page that shows them."""
# ruff: noqa: RUF001 -- true minus and multiplication signs, as a person reads them

from joulebook.web.words.texts import Working

LOADS_WORKINGS = {
    "hours": Working(
        "hours = (energy left − what is kept) ÷ what the battery gives. Left is what the battery "
        "holds × (1 − charge drawn since the last full charge ÷ capacity). It gives the load, the "
        "idle draw, and a loss that grows with the load.",
        "battery voltage and current since it was last full; load and panels of the last 30 days; "
        "capacity, usable energy, the current sensor's zero and the idle draw of the whole record",
        "Conservation of energy; what is assumed stands beside the numbers and is our choice.",
    ),
    "starts": Working(
        "A start is a rise of 200 W or more from a reading to the next, or to the one after while "
        "it still rises. Those within 12 % of the largest, on the same legs, are one kind. The "
        "battery's fall is the median voltage before less the lowest in the minute after; per "
        "ampere, over the change of its current. A rating leaves itself less the peak; on a leg, "
        "half of itself.",
        "load and legs, battery voltage, current and lowest cell; the inverter's rating",
        "Ohm's law. Half of the rating on each leg is common practice, no source: look into the "
        "inverter's manual.",
    ),
    "outages": Working(
        "The grid is away where its higher leg reads below half of what it usually is. The house "
        "went on where its load stayed above 5 W in nine of ten readings.",
        "the grid's voltage or frequency, load, battery voltage",
        "The limits are our choice.",
    ),
}

#: Read before anything is switched on.
REHEARSAL_CAUTIONS = (
    "joulebook switches nothing: you do, at the appliance's own switch. Open no box and touch no "
    "breaker's terminals for it; that is for a licensed electrician.",
    "An inverter that gives up leaves the house dark at once. Save your work, and let nobody stand "
    "on a ladder or rely on a medical device meanwhile.",
    "Stay within what the makers of inverter and battery allow, and stop where anything smells, "
    "hums, flickers or gets warm that did not before.",
)

REHEARSAL_STEPS = (
    "Choose a time after dark, so that the battery and not the sun carries it, and a battery that "
    "is neither nearly empty nor cold: then you learn what an ordinary evening can take.",
    "Begin, wait a minute, and switch the appliance on at its own switch.",
    "Leave it on for two minutes, or as long as it runs by itself, and switch it off.",
    "Stop, and wait until the last readings have come.",
)
