"""Why a home needs somebody, the gravest reason first."""

from collections.abc import Iterator, Sequence
from datetime import date

import msgspec

from joulebook.core.alerts.rules import BY_NAME
from joulebook.storage.home_inputs import HomeInput, OpenAlert
from joulebook.storage.home_lines import NOT_TOLD
from joulebook.summaries.checks_kept import Trouble
from joulebook.summaries.homes.numbers import Numbers
from joulebook.summaries.homes.peers import Peers

#: The codes of all reasons, the gravest first (our choice). What can hurt somebody comes before
#: a silence, and a silence before all that only readings tell.
CODES = (
    *("danger", "silent", "alert", "checks", "capacity-low", "worse-than-peers"),
    *("forecast-low", "warranty-ends", "unproven"),
)
#: Those that can wait, and how a home stands that has no graver one.
AHEAD = {"warranty-ends": "ahead", "unproven": "lacking"}
SILENCE = BY_NAME["bridge-silent"]
#: Alerts that say what another reason says, with more to it; and those of the machine that
#: joulebook runs on, which all of its sites have at once.
_SAID_ELSEWHERE = frozenset({SILENCE.name, "capacity-low", "forecast-low", "disk", "backup"})
#: A chance to hold the floor below this is told, as the alert's is. [ratio]
_CHANCE = BY_NAME["forecast-low"].limits.opens_at / 100
#: The end of a warranty is told so long ahead (our choice). [days]
WARRANTY_AHEAD_DAYS = 365
_DAYS_PER_MONTH = 30.44
#: Within a code: so many steps, and none of them reaches the next code.
_STEPS = 10_000


class Reason(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One reason.

    Attributes
    ----------
    code : str
        Of `CODES`.
    title : str or None
        What an alert or a check is called.
    sentence : str or None
        What was found, where it was found by an alert or a check.
    since_ms : int or None
        Since when. [ms, UTC epoch]
    until : str or None
        The date that it is about.
    months : int or None
        How many whole months are left until then.
    chance : float or None
        That a floor is held.
    missing : tuple of str
        What a proof lacks: ``terms``, ``installed``, ``capacity``, ``sign-off``.
    about : tuple of str
        Which numbers stand out: ``capacity``, ``fade``.
    check : tuple of (str, str or None)
        A check's name and device.
    """

    code: str
    title: str | None = None
    sentence: str | None = None
    since_ms: int | None = None
    until: str | None = None
    months: int | None = None
    chance: float | None = None
    missing: tuple[str, ...] = ()
    about: tuple[str, ...] = ()
    check: tuple[str, str | None] | None = None


def is_silent(home: HomeInput, now_ms: int) -> bool:
    """Tell whether nothing is heard of a home, by the rule as its owner set it."""
    is_on, opens_at = home.silence or (True, None)
    limit_min = SILENCE.limits.opens_at if opens_at is None else opens_at
    return is_on and (home.newest_ms is None or now_ms - home.newest_ms > limit_min * 60_000)


def reasons_of(
    home: HomeInput,
    numbers: Numbers,
    peers: Peers | None,
    trouble: Sequence[Trouble],
    *,
    silent: bool,
    today: date,
) -> list[Reason]:
    """Return all that is to be told of a home, the gravest first.

    Parameters
    ----------
    trouble : sequence of Trouble
        Checks that found some.
    silent : bool
        From `is_silent`.
    today : date
        For what is told ahead.
    """
    found = [
        *_alerts(home.alerts),
        *([Reason(code="silent", since_ms=home.newest_ms)] if silent else []),
        *(
            Reason(code="checks", sentence=each.sentence, check=(each.name, each.device))
            for each in trouble
        ),
        *_by_numbers(home, numbers, peers),
        *_ahead(home, numbers, today),
    ]
    return sorted(found, key=gravity_of)


def gravity_of(reason: Reason) -> int:
    """Return a number by which reasons are sorted: the least is the gravest."""
    steps = 0 if reason.months is None else min(reason.months, _STEPS - 1)
    return CODES.index(reason.code) * _STEPS + steps


def gravity_of_all(reasons: Sequence[Reason]) -> int:
    """Return by what a home with these reasons is sorted; one that needs nobody comes last."""
    return gravity_of(reasons[0]) if reasons else NOT_TOLD - 1


def _alerts(alerts: Sequence[OpenAlert]) -> Iterator[Reason]:
    for alert in alerts:
        rule = BY_NAME.get(alert.rule)
        if alert.rule in _SAID_ELSEWHERE or rule is None:
            continue
        yield Reason(
            code="danger" if rule.dangerous else "alert",
            title=rule.title,
            sentence=alert.sentence,
            since_ms=alert.opened_ms,
        )


def _by_numbers(home: HomeInput, numbers: Numbers, peers: Peers | None) -> Iterator[Reason]:
    outlook, capacity = numbers.outlook, numbers.capacity
    # Terms that were assumed alarm nobody.
    promised = outlook.floor_ratio if outlook is not None and home.said[0] else 0.0
    if capacity.high is not None and capacity.high < promised:
        yield Reason(code="capacity-low")
    if peers is not None:
        about = tuple(name for name in ("capacity", "fade") if getattr(peers, name).named)
        if about:
            yield Reason(code="worse-than-peers", about=about)


def _ahead(home: HomeInput, numbers: Numbers, today: date) -> Iterator[Reason]:
    outlook = numbers.outlook
    if outlook is not None and not outlook.assumed:
        days = (date.fromisoformat(outlook.ends) - today).days
        months = int(days / _DAYS_PER_MONTH)
        if days > 0 and outlook.chance is not None and outlook.chance < _CHANCE:
            yield Reason(
                code="forecast-low", until=outlook.ends, months=months, chance=outlook.chance
            )
        if 0 < days <= WARRANTY_AHEAD_DAYS:
            yield Reason(code="warranty-ends", until=outlook.ends, months=months)
    missing = tuple(
        name
        for name, is_missing in (
            ("terms", not home.said[0]),
            ("installed", not home.said[1]),
            ("capacity", numbers.capacity.value is None),
            ("sign-off", not home.signed),
        )
        if is_missing
    )
    if missing:
        yield Reason(code="unproven", missing=missing)
