"""The proof as a value: who can make one, and what kills it."""

from __future__ import annotations

import pytest

from batchtest.errors import NotProven
from batchtest.proof import proof as room
from batchtest.proof.proof import Proof, seal_proof


def test_a_fresh_proof_powers_its_board_once():
    """A proof is good for one power-up of its own board, and not for a second."""
    proof = seal_proof(serial="VN-0001", contact=0)
    proof.spend(serial="VN-0001", contact=0)
    with pytest.raises(NotProven, match=r"VN-0001 was used once already; prove again"):
        proof.spend(serial="VN-0001", contact=0)


@pytest.mark.parametrize(
    ("serial", "contact", "message"),
    [
        pytest.param("VN-0002", 0, r"for VN-0001, not for VN-0002; prove again", id="another-board"),
        pytest.param("VN-0001", 1, r"contact with an instrument was lost since VN-0001", id="link-lost"),
    ],
)
def test_a_proof_dies_with_what_it_was_made_for(serial: str, contact: int, message: str):
    """Another serial, or a link made anew since, is no longer proven."""
    with pytest.raises(NotProven, match=message):
        seal_proof(serial="VN-0001", contact=0).spend(serial=serial, contact=contact)


def test_a_refused_proof_is_used_up_all_the_same():
    """A proof that was tried for the wrong board cannot be tried again for the right one."""
    proof = seal_proof(serial="VN-0001", contact=0)
    with pytest.raises(NotProven, match="not for VN-0002"):
        proof.spend(serial="VN-0002", contact=0)
    with pytest.raises(NotProven, match="used once already"):
        proof.spend(serial="VN-0001", contact=0)


def test_a_proof_grows_old_on_the_clock_that_counts_sleep(monkeypatch: pytest.MonkeyPatch):
    """After five minutes of real time, suspend included, the board must be proven again."""
    proof = seal_proof(serial="VN-0001", contact=0)
    later = room.boot_time() + room.LIFE_S + 1
    monkeypatch.setattr(room, "boot_time", lambda: later)
    with pytest.raises(NotProven, match=r"is 301 s old, its life is 300 s"):
        proof.spend(serial="VN-0001", contact=0)


def test_nobody_else_can_make_a_proof():
    """Calling the class without this room's seal is a bug that shows at once."""
    with pytest.raises(TypeError, match="made by proving"):
        Proof(object(), serial="VN-0001", contact=0)  # type: ignore[arg-type]
