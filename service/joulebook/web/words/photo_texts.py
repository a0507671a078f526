"""Photos of events, in words."""

from joulebook.storage.event_photos import MOST_OF_AN_EVENT, MOST_SENT_BYTES

LABELS = {"caption": "What it shows", "photo": "Photo"}
CAPTION_HINT = (
    "For whoever cannot see it, and for the evidence file, as: The lugs after tightening."
)
PHOTO_CAUTION = (
    "Open no box for a photo. A battery stores energy that no switch removes, and direct current "
    "draws arcs that do not go out by themselves. Show what is closed, or what a qualified person "
    "has locked out, under your local code."
)
PHOTO_HINT = (
    f"JPEG or PNG, up to {MOST_SENT_BYTES // 1024**2} MB. It is made smaller, and the place, the "
    "time and all else that a phone writes into it is left out."
)
#: What is said after a change.
PHOTO_DONE = {
    "added": "The photo is kept, without what the phone wrote into it.",
    "removed": "The photo is deleted. Backups and evidence files of before still hold it.",
}
FULL = f"That is as many as an event can have. Remove one of the {MOST_OF_AN_EVENT} first."


def how_many(count: int) -> str:
    """Return how many photos there are, as a sentence."""
    if not count:
        return "There is no photo of it yet."
    return "There is one photo of it." if count == 1 else f"There are {count} photos of it."
