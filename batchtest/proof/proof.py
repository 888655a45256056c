"""The proofs: "this cable and this board, just now, are safe to power", and "this host has on its pins what it should".

Only this room makes them, with one seal.
"""

from __future__ import annotations

import time
from typing import Final, NoReturn, SupportsIndex, final

from batchtest.errors import NotProven

#: How long a proof lives, real seconds of a clock that also counts while the computer sleeps.
LIFE_S = 300.0


class _Seal:
    """What the room needs to make a proof; it is not handed out."""


_SEAL = _Seal()


class _Proven:
    """What every proof is: made in this room for one serial, spent once. It dies of use, age or a lost link.

    There is only the one that was made: it cannot be copied, nor carried into another process or past a restart.
    """

    __slots__ = ("_made_at", "_spent", "contact", "serial")

    def __init__(self, seal: _Seal, *, serial: str, contact: int) -> None:
        if seal is not _SEAL:
            raise TypeError("a proof is made by proving, not by calling it")
        self.serial: Final = serial
        self.contact: Final = contact
        self._made_at: Final = boot_time()
        self._spent = False

    def __reduce_ex__(self, protocol: SupportsIndex) -> NoReturn:
        raise TypeError("a proof cannot be copied or kept; prove again")

    def spend(self, *, serial: str, contact: int) -> None:
        """Use the proof up, for the serial and the unbroken contact with the bench that it was made for.

        Parameters
        ----------
        serial : the board or host that it is used for.
        contact : the bench's count of links that had to be made anew; any change since kills the proof.

        Raises
        ------
        NotProven : it was used before, is older than `LIFE_S`, is for another serial, or a link was lost since.
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


@final
class Proof(_Proven):
    """Cable and board are right, just now. Made by `prove`, spent once by `power_up`.

    There is no other way to make one: the first argument is this room's own.
    """

    __slots__ = ()


@final
class HostProof(_Proven):
    """This host, just now, has on its pins what its circuit says. Made by `prove_host`; it powers no board.

    It is spent once, by what next puts power through the host. There is no other way to make one.
    """

    __slots__ = ()


def seal_proof(*, serial: str, contact: int) -> Proof:
    """Make a proof. For `prove` alone; the package does not export it."""
    return Proof(_SEAL, serial=serial, contact=contact)


def seal_host_proof(*, serial: str, contact: int) -> HostProof:
    """Make the proof of a host. For `prove_host` alone; the package does not export it."""
    return HostProof(_SEAL, serial=serial, contact=contact)


def boot_time() -> float:
    """Seconds since the computer started, sleep included; never scaled."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)
