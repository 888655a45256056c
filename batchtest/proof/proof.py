"""The proof: the value that says "this cable and this board, just now, are safe to power". Only this room makes one."""

from __future__ import annotations

import time

from batchtest.errors import NotProven

#: How long a proof lives, real seconds of a clock that also counts while the computer sleeps.
LIFE_S = 300.0


class _Seal:
    """What the room needs to make a proof; it is not handed out."""


_SEAL = _Seal()


class Proof:
    """Made by `prove`, spent once by `power_up`. It dies of use, age, another serial, or a link that was lost.

    There is no other way to make one: the first argument is this room's own.
    """

    __slots__ = ("_made_at", "_spent", "contact", "serial")

    def __init__(self, seal: _Seal, *, serial: str, contact: int) -> None:
        if seal is not _SEAL:
            raise TypeError("a proof is made by proving, not by calling it")
        self.serial = serial
        self.contact = contact
        self._made_at = boot_time()
        self._spent = False

    def spend(self, *, serial: str, contact: int) -> None:
        """Use the proof up, for the board and the unbroken contact with the bench that it was made for.

        Parameters
        ----------
        serial : the board about to be powered.
        contact : the bench's count of links that had to be made anew; any change since kills the proof.

        Raises
        ------
        NotProven : it was used before, is older than `LIFE_S`, is for another board, or a link was lost since.
        """
        age_s = boot_time() - self._made_at
        if self._spent:
            raise NotProven(f"the proof of {self.serial} was used once already; prove again")
        self._spent = True
        if serial != self.serial:
            raise NotProven(f"the proof is for {self.serial}, not for {serial}; prove again")
        if contact != self.contact:
            raise NotProven(f"contact with an instrument was lost since {self.serial} was proven; prove again")
        if age_s > LIFE_S:
            raise NotProven(f"the proof of {self.serial} is {age_s:.0f} s old, its life is {LIFE_S:.0f} s; prove again")


def seal_proof(*, serial: str, contact: int) -> Proof:
    """Make a proof. For `prove` alone; the package does not export it."""
    return Proof(_SEAL, serial=serial, contact=contact)


def boot_time() -> float:
    """Seconds since the computer started, sleep included; never scaled."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)
