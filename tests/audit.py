"""``python -m tests.audit``: are faults known of the packages that the images hold.

Asks pip-audit about the pins under docker/. It ends with 0 also where it cannot look a package up,
so its answer is read here: what was not looked at is said, and never passes for looked at.
"""

import json
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

DOCKER = Path(__file__).parents[1] / "docker"
LOCKS = ("requirements.txt", "bridge.requirements.txt", "build.requirements.txt")
_PATIENCE_S = 300.0


@dataclass(slots=True)
class Audit:
    """What became of the question.

    Attributes
    ----------
    looked_at : int
        Packages that the service of known faults knows.
    faults : list of str
        Package, version, fault, and the versions that mend it.
    not_looked_at : list of str
        Packages, or the reason why none was.
    """

    looked_at: int = 0
    faults: list[str] = field(default_factory=list)
    not_looked_at: list[str] = field(default_factory=list)

    def lines(self) -> list[str]:
        """Return what to say."""
        said = [f"FAULT {fault}" for fault in self.faults]
        if self.not_looked_at:
            said.append(f"NOT AUDITED: {', '.join(self.not_looked_at)}")
        return [*said, f"audited: {self.looked_at} packages, {len(self.faults)} known faults"]


def read_answer(status: int, answer: str, complaint: str) -> Audit:
    """Return what pip-audit's JSON, or its failure, means."""
    audit = Audit()
    try:
        packages = json.loads(answer)["dependencies"]
    except (ValueError, KeyError, TypeError):
        last = complaint.strip().splitlines()[-1:] or ["it said nothing"]
        audit.not_looked_at.append(f"pip-audit ended with {status}: {last[0]}")
        return audit
    for package in packages:
        if "skip_reason" in package:
            audit.not_looked_at.append(package["name"])
            continue
        audit.looked_at += 1
        for fault in package["vulns"]:
            mended = ", ".join(fault["fix_versions"]) or "no version yet"
            audit.faults.append(
                f"{package['name']} {package['version']}: {fault['id']}, mended in {mended}"
            )
    return audit


def ask() -> Audit:
    """Ask pip-audit."""
    pins = [part for name in LOCKS for part in ("-r", str(DOCKER / name))]
    options = ("--require-hashes", "--disable-pip", "--progress-spinner", "off", "-f", "json")
    try:
        asked = subprocess.run(
            [sys.executable, "-m", "pip_audit", *options, *pins],
            capture_output=True,
            text=True,
            timeout=_PATIENCE_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return Audit(not_looked_at=[f"no answer within {_PATIENCE_S:.0f} s"])
    return read_answer(asked.returncode, asked.stdout, asked.stderr)


def main() -> int:
    """Ask and say; 1 where a fault is known, 0 where none is or nothing could be asked."""
    audit = ask()
    sys.stdout.write("\n".join(audit.lines()) + "\n")
    return 1 if audit.faults else 0


if __name__ == "__main__":
    sys.exit(main())
