"""The proof as a value: who can make one, and what kills it."""

from __future__ import annotations

import copy
import pickle
from collections.abc import Callable
from functools import partial

import pytest

from batchtest import proof as proving
from batchtest.errors import NotProven
from batchtest.proof import proof as room
from batchtest.proof.proof import Proof, seal_host_proof, seal_proof


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


@pytest.mark.parametrize("seal", [seal_proof, seal_host_proof])
@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, pickle.dumps, partial(pickle.dumps, protocol=0)])
def test_a_proof_is_the_only_one_of_its_kind(seal: Callable[..., object], again: Callable[[object], object]):
    """Neither a copy nor what a file or another process would be given: a second one could be spent a second time."""
    with pytest.raises(TypeError, match="a proof cannot be copied or kept; prove again"):
        again(seal(serial="VN-0001", contact=0))


def test_a_proof_of_a_host_dies_as_any_proof_does():
    """It is spent once, for its host."""
    proof = seal_host_proof(serial="CB-001", contact=0)
    proof.spend(serial="CB-001", contact=0)
    with pytest.raises(NotProven, match=r"CB-001 was used once already"):
        proof.spend(serial="CB-001", contact=0)
    assert not isinstance(proof, Proof)


def test_the_room_hands_out_no_way_to_make_a_proof():
    """Only what proves is public."""
    assert not [name for name in proving.__all__ if "seal" in name.lower()]
    assert {"prove", "prove_host", "Proof", "HostProof"} <= set(proving.__all__)
