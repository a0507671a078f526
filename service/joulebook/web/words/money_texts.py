"""How the numbers of money come about, for the page that shows them."""
# ruff: noqa: RUF001 -- true minus and multiplication signs, as a person reads them

from joulebook.web.words.texts import Working

#: The periods of the document, in the order of the table.
PERIODS = {
    "month_so_far": "This month so far",
    "last_month": "Last month",
    "year_so_far": "This year so far",
    "last_twelve_months": "Twelve months",
}

#: What a bill of ours cannot know.
LIMITS = (
    "The bill is what the site's own meter of the grid says at the prices that you entered. The "
    "utility's meter counts, and taxes or steps by amount that your tariff has are not in it.",
    "What was not measured is in no number here; each says for how much of the time it speaks.",
    "Savings compare with a house that uses the same energy at the same hours. Nobody knows what "
    "you would have done without the equipment, and what it cost to buy is not counted.",
)

MONEY_WORKINGS = {
    "bill": Working(
        "paid = Σ bought × price − Σ sold × price + fixed fee. Each quarter hour has the price of "
        "its band by the clock on the wall; an hour that comes twice is paid twice, one that is "
        "skipped is not paid.",
        "grid power by quarter hours, held to each day's sums; your tariff",
        "Arithmetic; the meter is taken to read within ±1 %.",
    ),
    "saved": Working(
        "Three bills of the same use: as it was; without battery, where panels feed the house as "
        "they come through an inverter that sleeps in the dark; without both, where all is "
        "bought. Saved by the battery = second − first, by the panels = third − second.",
        "grid, use and panels by quarter hours, where all meters measured; your tariff; the share "
        "that the inverter passes on",
        "Arithmetic; uncertainties joined by how far each moves the result (JCGM 100:2008).",
    ),
    "losses": Working(
        "cost = Σ lost × price of replacement. A quarter hour that bought counts at the price of "
        "buying, one that sold at the price of selling; one that did neither at the mean price of "
        "what was bought on that day, or else sold.",
        "panels, grid, use and battery by quarter hours; your tariff",
        "Conservation of energy; which price replaces a loss is our choice, and the interval "
        "reaches from the lower to the higher of both.",
    ),
    "idle": Working(
        "cost = idle draw × hours × mean price of replacement over those hours.",
        "the inverter's idle draw, as the page on efficiency has it; your tariff",
        "As for losses; the draw is taken to be the same all year.",
    ),
}
