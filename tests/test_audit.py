"""What pip-audit answers, in the form that its documentation gives for ``--format json``."""

import json
import subprocess
from typing import Any

import pytest

from tests.audit import LOCKS, Audit, ask, main, read_answer


def answer(*packages: dict[str, Any]) -> str:
    return json.dumps({"dependencies": packages, "fixes": []})


FINE = {"name": "flask", "version": "1.0", "vulns": []}
FAULTY = {
    "name": "jinja2",
    "version": "2.4.1",
    "vulns": [
        {"id": "PYSEC-2014-8", "fix_versions": ["2.7.2"], "description": "x"},
        {"id": "PYSEC-2019-1", "fix_versions": [], "description": "y"},
    ],
}
SKIPPED = {"name": "numpy", "skip_reason": "Dependency not found and could not be audited"}


def test_packages_without_faults() -> None:
    found = read_answer(0, answer(FINE), "")
    assert found == Audit(looked_at=1)
    assert found.lines() == ["audited: 1 packages, 0 known faults"]


def test_faults_are_told_with_what_mends_them() -> None:
    assert read_answer(1, answer(FINE, FAULTY), "").lines() == [
        "FAULT jinja2 2.4.1: PYSEC-2014-8, mended in 2.7.2",
        "FAULT jinja2 2.4.1: PYSEC-2019-1, mended in no version yet",
        "audited: 2 packages, 2 known faults",
    ]


def test_what_could_not_be_looked_up_does_not_pass_for_looked_at() -> None:
    assert read_answer(0, answer(FINE, SKIPPED), "").lines() == [
        "NOT AUDITED: numpy",
        "audited: 1 packages, 0 known faults",
    ]


@pytest.mark.parametrize(
    ("text", "complaint", "why"),
    [
        ("", "Traceback\nProxyError: refused", "pip-audit ended with 1: ProxyError: refused"),
        ("", "", "pip-audit ended with 1: it said nothing"),
        ("[]", "x", "pip-audit ended with 1: x"),
        ("{}", "x", "pip-audit ended with 1: x"),
    ],
)
def test_no_answer_is_no_audit(text: str, complaint: str, why: str) -> None:
    assert read_answer(1, text, complaint) == Audit(not_looked_at=[why])


def asked_of(
    monkeypatch: pytest.MonkeyPatch, outcome: subprocess.CompletedProcess[str] | Exception
) -> list[list[str]]:
    commands: list[list[str]] = []

    def run(command: list[str], **_: object) -> subprocess.CompletedProcess[str]:
        commands.append(command)
        if isinstance(outcome, Exception):
            raise outcome
        return outcome

    monkeypatch.setattr(subprocess, "run", run)
    return commands


@pytest.mark.parametrize(("package", "status"), [(FINE, 0), (SKIPPED, 0), (FAULTY, 1)])
def test_the_status_is_1_only_for_a_known_fault(
    package: dict[str, Any], status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = subprocess.CompletedProcess([], 0, stdout=answer(package), stderr="")
    [command] = [asked_of(monkeypatch, done)]
    assert main() == status
    assert all(any(part.endswith(f"/docker/{lock}") for part in command[0]) for lock in LOCKS)


def test_whoever_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    asked_of(monkeypatch, subprocess.TimeoutExpired("pip-audit", 300))
    assert ask().not_looked_at == ["no answer within 300 s"]
