"""The rules: what the owner is told of, from when on, and what he can look at.

The limits are our choice unless a source stands beside them; an owner changes them per site.
"""

from dataclasses import dataclass

from joulebook.core.alerts.episodes import Limits
from joulebook.core.checks.finding import BATTERY_CAUTION, NEUTRAL_CAUTION, PANEL_CAUTION

_MINUTE, _HOUR, _DAY = 60.0, 3600.0, 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule.

    Attributes
    ----------
    name : str
        As it is stored and shown to programs.
    title : str
        For a person.
    unit : str
        Of its value; empty for a bare yes (1) or no (0).
    limits : Limits
        From when to when an episode lasts.
    page : str
        Where its working is, below the site's address.
    look_at : str
        What to look at, a sentence.
    caution : str or None
        What could hurt whoever does.
    dangerous : bool
        Whether it may come in quiet hours.
    """

    name: str
    title: str
    unit: str
    limits: Limits
    page: str
    look_at: str
    caution: str | None = None
    dangerous: bool = False

    @property
    def is_yes_or_no(self) -> bool:
        """Whether its value is only 1 or 0, so that no limit can be set."""
        return not self.unit


def _yes(**more: float) -> Limits:
    return Limits(opens_at=1.0, closes_at=0.0, **more)


RULES: tuple[Rule, ...] = (
    Rule(
        name="bridge-silent",
        title="Nothing is heard",
        unit="min",
        limits=Limits(opens_at=30.0, closes_at=5.0),
        page="/checks",
        look_at="Power and network of the bridge; what it kept comes later.",
    ),
    Rule(
        name="gap",
        title="Readings are missing",
        unit="%",
        limits=Limits(opens_at=10.0, closes_at=2.0),
        page="/checks",
        look_at="Which devices they are missing of: one, or all at the same time.",
    ),
    Rule(
        name="hot-battery",
        title="The battery is hot",
        unit="°C",
        limits=Limits(opens_at=45.0, closes_at=42.0, after_s=10 * _MINUTE, until_s=30 * _MINUTE),
        page="/wear",
        look_at="Air around the battery, sun on its wall, and what loads it now.",
        caution=BATTERY_CAUTION,
        dangerous=True,
    ),
    Rule(
        name="cold-charging",
        title="It is charged in the cold",
        unit="°C",
        limits=Limits(opens_at=0.0, closes_at=-1.0, after_s=10 * _MINUTE, until_s=6 * _HOUR),
        page="/wear",
        look_at="The charge limit for cold in your own equipment, and the battery's heater.",
        caution=BATTERY_CAUTION,
        dangerous=True,
    ),
    Rule(
        name="cell-spread",
        title="Cells drift apart",
        unit="mV",
        limits=Limits(opens_at=40.0, closes_at=25.0, until_s=2 * _DAY),
        page="/wear",
        look_at="Whether the battery gets full often enough to balance its cells.",
        caution=BATTERY_CAUTION,
    ),
    Rule(
        name="lugs",
        title="The way from battery to inverter resists more",
        unit="mΩ",
        limits=Limits(opens_at=2.0, closes_at=0.5, after_s=_DAY, until_s=2 * _DAY),
        page="/checks",
        look_at="Lugs, fuse, breaker and cable between the two: warm spots, torque, thickness.",
        caution=BATTERY_CAUTION,
        dangerous=True,
    ),
    Rule(
        name="legs",
        title="One leg carries nearly everything, or nothing",
        unit="",
        limits=_yes(after_s=2 * _DAY, until_s=2 * _DAY),
        page="/checks",
        look_at="Which circuits hang on which leg, and whether a breaker is off.",
        caution=PANEL_CAUTION,
    ),
    Rule(
        name="neutral",
        title="The neutral seems loose",
        unit="",
        # In calm weeks a loose neutral does not show; it is not sound for that.
        limits=_yes(until_s=14 * _DAY),
        page="/checks",
        look_at="Nothing yourself: call a licensed electrician or your utility now.",
        caution=NEUTRAL_CAUTION,
        dangerous=True,
    ),
    Rule(
        name="idle-jump",
        title="The inverter takes more for itself",
        unit="W",
        limits=Limits(opens_at=12.0, closes_at=6.0),
        page="/efficiency",
        look_at="What was changed: firmware, a setting, something new on the inverter's own side.",
    ),
    Rule(
        name="round-trip-drop",
        title="The battery gives back less",
        unit="%",
        limits=Limits(opens_at=1.0, closes_at=0.3),
        page="/efficiency",
        look_at="Lugs, cells and temperature; and whether a sensor was moved.",
    ),
    Rule(
        name="never-full",
        title="It does not get full any more",
        unit="days",
        limits=Limits(opens_at=21.0, closes_at=1.0),
        page="/wear",
        look_at="A charge limit that was set, panels that give less, or a use that grew.",
    ),
    Rule(
        name="fast-loss",
        title="The battery loses its capacity fast",
        unit="",
        limits=_yes(until_s=30 * _DAY),
        page="/wear",
        look_at="The newest nights and the cells' voltages: one may be failing. Use it gently, ask "
        "who sold or put it up, and make the evidence file.",
        caution=BATTERY_CAUTION,
    ),
    Rule(
        name="capacity-low",
        title="It holds less than the warranty promises",
        unit="%",
        limits=Limits(opens_at=0.0, closes_at=1.0),
        page="/wear",
        look_at="The measured capacity and its nights; then make the evidence file.",
    ),
    Rule(
        name="forecast-low",
        title="It will probably not hold until the warranty ends",
        unit="%",
        limits=Limits(opens_at=50.0, closes_at=60.0, after_s=14 * _DAY, until_s=14 * _DAY),
        page="/warranty",
        look_at="The forecast and what would change it; make an evidence file while there is time.",
    ),
    Rule(
        name="disk",
        title="The disk is nearly full",
        unit="%",
        limits=Limits(opens_at=5.0, closes_at=10.0),
        page="/alerts",
        look_at="Old copies and backups in the data directory; readings are kept by the bridge.",
    ),
    Rule(
        name="backup",
        title="The last backup is old",
        unit="days",
        limits=Limits(opens_at=35.0, closes_at=30.0),
        page="/alerts",
        look_at="Make one with joulebook backup, on another disk than the data.",
    ),
)
BY_NAME = {rule.name: rule for rule in RULES}
