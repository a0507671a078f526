from pathlib import Path

import pytest

from joulebook.core.alerts.rules import BY_NAME, RULES, Rule

PAGE = Path(__file__).parents[4] / "docs" / "methods" / "alerts.md"


def test_names_are_unique_and_every_rule_says_what_to_look_at() -> None:
    assert len(BY_NAME) == len(RULES)
    assert all(rule.look_at.endswith(".") and rule.page.startswith("/") for rule in RULES)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.name)
def test_the_page_names_each_rule_with_its_limits(rule: Rule) -> None:
    [row] = [
        line
        for line in PAGE.read_text(encoding="utf-8").splitlines()
        if line.startswith(f"| `{rule.name}`")
    ]
    if rule.is_yes_or_no:
        assert rule.limits.opens_at == 1.0
    else:
        cells = [cell.strip() for cell in row.split("|")]
        assert cells[3] == f"{rule.limits.opens_at:g} {rule.unit}"
        assert cells[4] == f"{rule.limits.closes_at:g} {rule.unit}"


@pytest.mark.parametrize("rule", [rule for rule in RULES if rule.dangerous], ids=lambda r: r.name)
def test_what_is_dangerous_comes_with_a_caution(rule: Rule) -> None:
    assert rule.caution is not None
