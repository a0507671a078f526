from typing import get_args

from joulebook.storage.events import EventKind
from joulebook.web.words.record_texts import CANNOT_SEE, EVENT_KINDS, RECORD_WORKINGS


def test_every_kind_of_event_has_its_words() -> None:
    assert set(EVENT_KINDS) == set(get_args(EventKind))


def test_every_working_is_complete() -> None:
    for working in RECORD_WORKINGS.values():
        assert working.formula.endswith((".", "%"))
        assert working.inputs
        assert working.source.endswith(".")


def test_what_cannot_be_seen_is_said_in_sentences() -> None:
    assert all(words.endswith(".") for words in CANNOT_SEE)
