"""The English of the page of alerts, apart from what its template says."""

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
