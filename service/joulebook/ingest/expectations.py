"""What each series of a site must be: what the house knows, and what storage already holds."""

from joulebook.core.quantities import ValueKind
from joulebook.ingest.checks import Expected, Objection, expected_of
from joulebook.ingest.senml import LEGAL_NAME
from joulebook.ingest.units import MOST_UNIT, conversion, convertible_to, is_registered
from joulebook.ingest.wording import shown

#: Longest name of a quantity. SenML itself sets no limit.
MOST_NAME = 64

# A sender that makes up names would otherwise fill the memory.
_MOST_ANSWERS = 4096


class Expectations:
    """Answers what a reading must be. Storage's answers, once known, stand above the house's."""

    def __init__(self) -> None:
        self._stored: dict[tuple[int, str, str], Expected] = {}
        self._full: dict[tuple[int, str], frozenset[str]] = {}
        self._answers: dict[tuple[int, str, str, str, ValueKind], Expected | Objection] = {}

    def pin(self, site_id: int, device: str, quantity: str, unit: str, kind: ValueKind) -> None:
        """Hold a series to the unit and kind that storage has for it."""
        house = expected_of(device, quantity)
        same = house is not None and (house.unit, house.kind) == (unit, kind)
        if not same:  # else the house's word stands, with its range
            self._stored[site_id, device, quantity] = Expected(unit, kind)
            self._answers.clear()

    def close_device(self, site_id: int, device: str, quantities: frozenset[str]) -> None:
        """Take no quantities of a device but these: storage has no place for more."""
        self._full[site_id, device] = quantities
        self._answers.clear()

    def unit_of(self, site_id: int, device: str, quantity: str) -> str | None:
        """Return the unit in which a quantity is stored, ``None`` where nobody knows it yet."""
        expected = self._known(site_id, device, quantity)
        return None if expected is None else expected.unit

    def of(
        self, site_id: int, device: str, quantity: str, unit: str, kind: ValueKind
    ) -> Expected | Objection:
        """Return what the readings of a series must be, or why this one cannot be one of them.

        A number's unit converts to the expected one wherever no objection comes back. A quantity
        that nobody knows keeps the unit it is sent in.
        """
        if len(quantity) > MOST_NAME or len(unit) > MOST_UNIT:  # not worth remembering
            return self._answer(site_id, device, quantity, unit, kind)
        key = (site_id, device, quantity, unit, kind)
        answer = self._answers.get(key)
        if answer is None:
            if len(self._answers) >= _MOST_ANSWERS:
                self._answers.clear()
            answer = self._answers[key] = self._answer(site_id, device, quantity, unit, kind)
        return answer

    def _answer(
        self, site_id: int, device: str, quantity: str, unit: str, kind: ValueKind
    ) -> Expected | Objection:
        if not LEGAL_NAME.fullmatch(quantity) or len(quantity) > MOST_NAME:
            return Objection(
                "name-illegal",
                f"is no name of a quantity; expected a letter or digit, then letters, digits and "
                f"- : . / _, at most {MOST_NAME} in all",
            )
        full = self._full.get((site_id, device))
        if full is not None and quantity not in full:
            return Objection(
                "quantities-too-many", f"would be quantity {len(full) + 1} of {device}: too many"
            )
        expected = self._known(site_id, device, quantity)
        if expected is None:
            return _anything(unit, kind)
        if kind != expected.kind:
            return Objection("kind-wrong", f"is a {kind}; expected a {expected.kind}")
        if kind == "number" and conversion(unit, expected.unit) is None:
            return _unit_objection(unit, expected.unit)
        return expected

    def _known(self, site_id: int, device: str, quantity: str) -> Expected | None:
        return self._stored.get((site_id, device, quantity)) or expected_of(device, quantity)


def _anything(unit: str, kind: ValueKind) -> Expected | Objection:
    if kind != "number":
        return Expected("", kind)  # a text or a flag has no unit, whatever the base unit says
    if unit and not is_registered(unit):
        return Objection(
            "unit-unknown", f"is in {shown(unit)}; expected a unit of RFC 8428 or RFC 8798, or none"
        )
    return Expected(unit, kind)


def _unit_objection(unit: str, expected: str) -> Objection:
    accepted = convertible_to(expected)
    wanted = f"one of {', '.join(accepted)}" if len(accepted) > 1 else expected or "no unit"
    if not unit:
        return Objection("unit-missing", f"has no unit; expected {wanted}")
    reason = "unit-wrong" if is_registered(unit) else "unit-unknown"
    return Objection(reason, f"is in {shown(unit)}; expected {wanted}")
