"""The words of the forecast: how sure, what it rests on, why there is none."""

#: From this probability on, the words that say it.
_VERDICTS = (
    (0.95, "very likely to hold"),
    (0.80, "likely to hold"),
    (0.50, "more likely to hold than not"),
    (0.20, "more likely to fall short than not"),
    (0.05, "likely to fall short"),
    (0.00, "very likely to fall short"),
)
UNMEASURED_VERDICT = "too early to tell"
OVER_VERDICT = "over"
NO_LAW_VERDICT = "not to be told"
NO_FLOOR_VERDICT = "no floor was entered"

MEASURED = "measured capacities, and published laws of ageing for what is still to come"
NO_CAPACITY = (
    "no capacity was measured: this interval comes from published ageing data and from how the "
    "battery is used, and says nothing of this battery's own cells"
)
TOO_EARLY = (
    "mostly from published ageing data: fewer than twelve months are measured, in which season "
    "and ageing cannot be told apart"
)
TOO_SHORT = (
    "less than a month of battery current and temperature is measured, too little to say how the "
    "battery is used"
)
OVER = "the warranty is over, by its years or by its throughput"


def verdict_of(probability: float | None) -> str:
    """Return a probability in words.

    Parameters
    ----------
    probability : float or None
        Of holding the floor; ``None`` where none was promised.
    """
    if probability is None:
        return NO_FLOOR_VERDICT
    return next(words for least, words in _VERDICTS if probability >= least)
