"""How the numbers of a whole record come about, for the pages that show them."""
# ruff: noqa: RUF001 -- true minus and multiplication signs, as a person reads them

from joulebook.web.words.texts import Working

#: What an event is about, by its kind.
EVENT_KINDS = {
    "firmware": "firmware",
    "wiring": "wiring",
    "panels": "panels",
    "battery": "battery",
    "sensor": "sensor",
    "settings": "a setting",
    "capacity_setting": "the capacity that the equipment was told",
    "other": "something else",
}

#: Why the battery's own numbers stand beside ours and are never used.
CLAIMS_NO_EVIDENCE = (
    "A battery's own state of charge is a share of what it believes it holds, and its state of "
    "health is that belief: to measure one by the other would go in a circle. They stand here to "
    "be compared, and no number of ours rests on them."
)

#: What no forecast of these readings can see.
CANNOT_SEE = (
    "A sudden turn for the worse (a knee) shows in no reading before it begins. Part of the "
    "futures have one, as published cells do; that is all that can be said of it.",
    "A single cell that fails, a fault of the battery's own electronics, damage, and charging in "
    "the cold beyond what shows in the capacity.",
    "A change of use or of climate that is not in the last year. The table of other climates "
    "and uses says what a few would do.",
    "The months between making and installation, and whatever happened before the readings began.",
)

_FIT = (
    "Charge counted from full to low, from low to full and from full to full is balanced over the "
    "whole record in one fit, which finds the capacity, the current sensor's zero, what is lost "
    "and what cold does. Low is known from the voltage, never from the battery's own state of "
    "charge."
)

RECORD_WORKINGS = {
    "round_trip": Working(
        "ratio = Σ out ÷ Σ in, at the battery's terminals (DC), over stretches from one full "
        "charge to the next: both ends are the same state, so nothing need be known of the charge "
        "between. What the current sensor shows when nothing flows is taken off first.",
        "voltage and current of the battery",
        "Conservation of energy; constants are our choice, tried on simulated homes.",
    ),
    "idle_w": Working(
        "In dark hours in which the battery alone feeds the inverter, the loss DC in − AC out is "
        "fitted over the load; where the load is zero, the loss is the idle draw. In a year: "
        "watts × 8766 hours.",
        "battery voltage and current, panels, grid and load",
        "A constant, a linear and a quadratic loss are the usual model of inverters (common "
        "practice, no source); Huber's weights (1964).",
    ),
    "conversion": Working(
        "ratio = AC out ÷ (AC out + loss), the loss being read from the same line at the median "
        "load of those hours.",
        "battery voltage and current, panels, grid and load",
        "Common practice of the trade.",
    ),
    "before_after": Working(
        "difference = after − before. Both windows keep a day's distance from the event, reach no "
        "further than 92 days and never across another event. What both have in common, such as "
        "the scale of the same sensor, drops out of the interval.",
        "the same number of both windows, by the same method",
        "Combined uncertainty of correlated inputs (JCGM 100:2008).",
    ),
    "capacity": Working(
        f"{_FIT} What the battery holds runs from truly full to 2.72 V a cell at rest, slowly "
        "and at 25 °C.",
        "voltage, current and temperature of the battery; rated charge and cells in series",
        "Conservation of charge; limits are our choice, tried on simulated homes.",
    ),
    "energy": Working(
        "The capacity times the voltage that the cells have on the way down, at a fifth of the "
        "rated charge an hour; and, to check it, the energy counted on the way down. The two must "
        "agree within 2 %.",
        "the capacity, the resistance, voltage and current",
        "Energy is the integral of voltage over charge; the definition is ours.",
    ),
    "fade": Working(
        "The straight line through the capacity, over what it was at the start. What was lost "
        "since the start compares the first day with the last. The sensor's scale drops out.",
        "the capacity's fit, with all that ties its days together",
        "Least squares over correlated values; limits are our choice, tried on simulated homes.",
    ),
    "efc": Working(
        "cycles = Σ |I − zero| · Δt ÷ (2 · rated charge): one is a full charge and a full "
        "discharge, however they were divided.",
        "current of the battery, its zero removed; the rated charge",
        "Common practice of the trade.",
    ),
    "depths": Working(
        "Each swing of the state of charge down and up again is counted once, by its depth: "
        "rainflow counting. A swing that did not close counts a half.",
        "the battery's own state of charge, as nothing but a shape",
        "ASTM E1049-85.",
    ),
    "exposure": Working(
        "Hours in which the temperature was beyond a limit, of the measured time only. Ageing "
        "speed = exp(0.055 · (T − 25 °C)), averaged over time.",
        "temperature, voltage and current of the battery",
        "The factor is our choice; published models of such cells give 1.57 to 1.8 for 10 °C.",
    ),
    "resistance": Working(
        "R = change of voltage ÷ change of current from one reading to the next, by the median "
        "of many steps; a line over temperature and time.",
        "voltage, current and temperature of the battery",
        "D.c. resistance by two steps, after IEC 61960-3 (from memory).",
    ),
    "nights": Working(
        "holds = (drawn + zero · hours) ÷ (0.999 − low − 0.003 · cold · (1 − low)): what was "
        "drawn from full down to a low state, by the share of the battery that lies between. "
        "Each night stands alone, so that you can follow it by hand; the stated capacity comes "
        "from all of them together.",
        "counted charge, and the rest voltage at the lowest point",
        "Counting of charge between two known states.",
    ),
    "forecast": Working(
        "4000 futures, drawn from published laws of ageing with time, heat and cycles. Each law "
        "is believed as far as the measured capacities bear it out; in 8 % of the futures there "
        "is a knee. The chance is the share of futures that hold the floor until the end.",
        "measured capacities, temperature, cycles and energy so far; your terms",
        "M. Naumann et al., J. Energy Storage 17 (2018) 153 and J. Power Sources 451 (2020) "
        "227666; weights are our choice, tried on simulated homes.",
    ),
}
