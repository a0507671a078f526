"""What sign-offs say in words."""

from collections.abc import Sequence

from joulebook.storage.sign_offs import Role
from joulebook.summaries.commissioning import Difference, key_of
from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.setup.facts import ALL, words
from joulebook.web.words.check_texts import CHECKS, VERDICTS
from joulebook.web.words.record_texts import EVENT_KINDS

ROLE_WORDS: dict[Role, str] = {"owner": "Owner", "installer": "Installer"}
LABELS = {"name": "Name", "role": "Signs as", "statement": "Anything to add"}


def remark_field(check: Document) -> str:
    """Return the name of the field for a remark on a check."""
    return f"remark.{key_of(check)}"


def verdict_counts(checks: Sequence[Document]) -> str:
    """Return how many checks said what, such as "11 good, 1 trouble, 3 unclear"."""
    counts = {
        word: sum(each["verdict"] == verdict for each in checks)
        for verdict, (_, word) in VERDICTS.items()
    }
    return ", ".join(f"{count} {word.lower()}" for word, count in counts.items())


def fact_rows(facts: Document) -> list[tuple[str, str]]:
    """Return the facts of a signed record as pairs of a label and words."""
    return [
        (fact.label, words(name, facts[name]))
        for name, fact in ALL.items()
        if facts.get(name) is not None
    ]


def difference_words(difference: Difference) -> str:
    """Return one thing that is not as it was signed, as a sentence."""
    then, now = difference.then, difference.now
    if difference.what == "check":
        return f"{_check(difference.name)} {_verdict(then)}, now {_verdict(now).lower()}."
    if difference.what == "fact":
        label = ALL[difference.name].label if difference.name in ALL else difference.name
        return f"{label}: {words(difference.name, then)}, now {words(difference.name, now)}."
    if difference.what == "event":
        return f"Noted since: {difference.name} ({EVENT_KINDS[str(now)]})."
    if then is None:
        return f"Corrected since: {difference.name} ({now})."
    return f"No longer corrected: {difference.name} ({then})."


def _check(key: str) -> str:
    device, _, name = key.partition(".")
    label = "The whole site" if device == "site" else formats.device_label(device)
    return f"{label}: {CHECKS.get(name.replace('-', ' '), name)}"


def _verdict(verdict: str | float | None) -> str:
    return "Not made" if verdict is None else VERDICTS[str(verdict)][1]
