"""The type system holds the proof: what powers a board without one does not get past mypy."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from stations import ROOT

#: What is checked together; all else is taken as it comes, since mypy need not read the whole house for this.
MODULES = ("batchtest/proof/__init__.py", "batchtest/proof/proof.py", "batchtest/sequencer/power.py")
#: A line with "# says: ..." must be refused with these words, every other must pass.
SNIPPET = '''
from batchtest.proof import HostProof, Proof
from batchtest.proof.proof import seal_proof
from batchtest.sequencer.power import Hands, power_up


def right(proof: Proof, maybe: Proof | None, host: HostProof, procedure, hands: Hands) -> None:
    power_up(proof, "VN-0001", procedure, hands)
    if maybe is not None:
        power_up(maybe, "VN-0001", procedure, hands)


def wrong(proof: Proof, maybe: Proof | None, host: HostProof, procedure, hands: Hands) -> None:
    power_up("VN-0001", procedure, hands)  # says: Missing positional argument
    power_up(None, "VN-0001", procedure, hands)  # says: incompatible type "None"; expected "Proof"
    power_up(maybe, "VN-0001", procedure, hands)  # says: incompatible type "Proof | None"; expected "Proof"
    power_up(True, "VN-0001", procedure, hands)  # says: incompatible type "bool"; expected "Proof"
    power_up(object(), "VN-0001", procedure, hands)  # says: incompatible type "object"; expected "Proof"
    power_up(host, "VN-0001", procedure, hands)  # says: incompatible type "HostProof"; expected "Proof"
    power_up(Proof, "VN-0001", procedure, hands)  # says: incompatible type "type[Proof]"; expected "Proof"
    Proof(serial="VN-0001", contact=0)  # says: Missing positional argument "seal"
    Proof(object(), serial="VN-0001", contact=0)  # says: incompatible type "object"; expected "_Seal"
    Proof(None, serial="VN-0001", contact=0)  # says: incompatible type "None"; expected "_Seal"
    proof.serial = "VN-0002"  # says: Cannot assign to final attribute "serial"
    proof.contact = 1  # says: Cannot assign to final attribute "contact"


class Mine(Proof):  # says: Cannot inherit from final class "Proof"
    def spend(self, *, serial: str, contact: int) -> None:
        """Nothing kills it."""
'''


def test_mypy_refuses_power_without_a_proof(tmp_path: Path):
    """None, perhaps one, a host's, one made by hand, one of a class of one's own: each is an error, and only those."""
    snippet = tmp_path / "snippet.py"
    snippet.write_text(SNIPPET)
    options = ["--config-file=", "--follow-imports=skip", "--ignore-missing-imports", f"--cache-dir={tmp_path}/cache"]
    options += ["--no-error-summary", "--no-pretty", "--hide-error-context", "--no-color-output"]
    found = subprocess.run(
        [sys.executable, "-m", "mypy", *options, str(snippet), *MODULES],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (found.returncode, found.stderr) == (1, "")
    wrong = [line for line in found.stdout.splitlines() if "snippet.py" in line and ": error: " in line]
    said = {int(re.findall(r"snippet\.py:(\d+):", line)[0]): line for line in wrong}
    lines = SNIPPET.splitlines()
    wanted = {number: line.partition("# says: ")[2] for number, line in enumerate(lines, start=1) if "# says: " in line}
    assert said.keys() == wanted.keys()
    assert [words for number, words in wanted.items() if words not in said[number]] == []
    assert len(wrong) == len(wanted)
