from joulebook.core.quantities import QUANTITIES
from joulebook.web.words import texts


def test_every_number_has_its_words() -> None:
    assert list(texts.SHORT_LABELS) == list(texts.LABELS)
    assert list(texts.WORKINGS) == list(texts.LABELS)
    for working in (*texts.WORKINGS.values(), *texts.EFFICIENCY_WORKINGS.values()):
        assert working.formula
        assert working.inputs
        assert working.source


def test_every_kind_of_device_has_its_word() -> None:
    assert set(texts.DEVICE_WORDS) == set(QUANTITIES)


def test_a_refusal_says_why_and_what_next() -> None:
    assert texts.refusal("time-ahead").title == "Dated ahead"
    assert "clock" in texts.refusal("time-ahead").next_step


def test_a_code_without_words_is_read_out() -> None:
    assert texts.refusal("field-wrong-type").title == "Field wrong type"
    assert texts.refusal("field-wrong-type").next_step
