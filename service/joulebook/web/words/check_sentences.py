"""What the page of checks says of them."""

from collections.abc import Sequence
from dataclasses import dataclass

from joulebook.summaries.numbers import Document
from joulebook.web.region import formats
from joulebook.web.words.check_texts import CHECKS, VERDICTS, evidence_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A check as the page shows it."""

    title: str
    sign: str
    verdict: str
    sentence: str
    evidence: list[tuple[str, str]]
    look_at: str | None
    caution: str | None
    measured: str


def lead_of(checks: Sequence[Document]) -> str:
    """Return the answer in a sentence."""
    count = {
        verdict: sum(each["verdict"] == verdict for each in checks)
        for verdict in ("trouble", "good", "unclear")
    }
    unclear = f" {_checks(count['unclear'])} could not tell." if count["unclear"] else ""
    if count["trouble"] == 1:
        return f"One thing needs a look; {_checks(count['good'])} found nothing wrong.{unclear}"
    if count["trouble"]:
        return (
            f"{count['trouble']} things need a look; {_checks(count['good'])} found nothing "
            f"wrong.{unclear}"
        )
    if not count["good"]:
        return "Nothing could be checked yet: the readings are too few."
    return f"All is as it should be, as far as readings tell: {_checks(count['good'])}.{unclear}"


def told_check(check: Document) -> Told:
    """Return a check of the document as the page shows it."""
    sign, word = VERDICTS[check["verdict"]]
    device = formats.device_label(check["device"]) if check["device"] else "The whole site"
    return Told(
        title=f"{device}: {CHECKS[check['name']]}",
        sign=sign,
        verdict=word,
        sentence=formats.capital(check["sentence"]),
        evidence=evidence_words(check["evidence"]),
        look_at=check["look_at"],
        caution=check["caution"],
        measured=formats.measured(check["coverage_ratio"]),
    )


def _checks(count: int) -> str:
    return f"{count} check{'' if count == 1 else 's'}"
