"""The English of the page of alerts, apart from what its template says."""

from joulebook.storage.alert_settings import RuleSetting
from joulebook.storage.alerts import Episode
from joulebook.storage.deliveries import Delivery

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")

#: How a delivery stands.
STATES = {
    "waiting": "to be sent",
    "sending": "being sent",
    "delivered": "sent",
    "unknown": "may not have arrived",
    "given-up": "given up",
}

LABELS = {
    "label": "Name",
    "url": "Address",
    "quiet_from": "Quiet from",
    "quiet_to": "Quiet to",
    "letter_day": "Day of the letter",
    "letter_hour": "Hour of the letter",
}


def delivery_words(delivery: Delivery) -> str:
    """Return how a delivery stands, with what went wrong."""
    words = STATES[delivery.state]
    return f"{words}: {delivery.trouble}" if delivery.trouble else words


def minute_text(minute: int | None) -> str:
    """Return a minute of the day as browsers write it: HH:MM; empty for none."""
    return "" if minute is None else f"{minute // 60:02d}:{minute % 60:02d}"


#: What a channel is sent where its owner tries it.
TEST_TITLE, TEST_BODY = "{site}: a test", "This channel works. Alerts will come like this one.\n"


def lead_of(still: list[Episode], rules: dict[str, RuleSetting]) -> str:
    """Return the answer in a sentence."""
    if not still:
        on = sum(setting.is_on for setting in rules.values())
        return f"Nothing needs you now; {on} rules are watched."
    first = still[0].sentence
    more = f"; and {len(still) - 1} more" if len(still) > 1 else ""
    return f"{first[:1].upper()}{first[1:]}{more}."
