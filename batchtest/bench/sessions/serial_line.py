"""Serial lines under pyvisa-py, on pyserial.

The stock class reads byte by byte, moves its deadline with every byte, loses what came when time is up, and lets two
programs have one port. This one reads in blocks, keeps every byte, has one deadline for a message, and holds the port
alone. It leaves DTR and RTS as the kernel sets them, and does not drop them when it closes: a board that is wired to
them is not reset.
"""

from __future__ import annotations

import errno
import fcntl
import termios
from typing import Any

import serial
from pyvisa import constants
from pyvisa.constants import ResourceAttribute, SerialTermination, StatusCode
from pyvisa_py import serial as stock
from pyvisa_py.sessions import OpenError

from batchtest.bench.sessions.stream import Stream
from batchtest.bench.sessions.streamed import Streamed
from batchtest.bench.sessions.tty import denied, taken


class _Line(serial.Serial):  # type: ignore[misc]  # pyserial carries no types
    """A port that is its holder's alone, and whose control lines are not touched."""

    def open(self) -> None:
        super().open()
        settings = termios.tcgetattr(self.fd)
        settings[2] &= ~termios.HUPCL  # closing must not drop DTR
        termios.tcsetattr(self.fd, termios.TCSANOW, settings)
        if not self.port.startswith("/dev/pts/"):  # a pseudo-terminal would stay marked after its holder has gone
            fcntl.ioctl(self.fd, termios.TIOCEXCL)

    def _update_dtr_state(self) -> None:
        """Nothing."""

    def _update_rts_state(self) -> None:
        """Nothing."""


class SerialSession(Streamed, stock.SerialSession):  # type: ignore[misc]  # pyvisa-py carries no types
    """An ASRL session with true deadlines that loses no bytes, on a port that it has alone."""

    interface: Any

    def after_parsing(self) -> None:
        """Open the port; called by the base class once the address is parsed.

        Raises
        ------
        OpenError : another program has it, this user may not open it, or it is not there; the cause says which.
        """
        self.interface = _opened(self.parsed.board)
        self._stream = Stream(self.interface.fileno())
        self.attrs[ResourceAttribute.asrl_end_in] = SerialTermination.termination_char
        self.attrs[ResourceAttribute.asrl_end_out] = SerialTermination.none
        self.attrs[ResourceAttribute.send_end_enabled] = constants.VI_TRUE
        self.attrs[ResourceAttribute.suppress_end_enabled] = constants.VI_FALSE
        self.attrs[ResourceAttribute.termchar] = ord("\n")
        self.attrs[ResourceAttribute.termchar_enabled] = constants.VI_FALSE

    def _get_timeout(self, attribute: ResourceAttribute) -> tuple[int, StatusCode]:
        return super(stock.SerialSession, self)._get_timeout(attribute)  # type: ignore[no-any-return]

    def _set_timeout(self, attribute: ResourceAttribute, value: int) -> StatusCode:
        return super(stock.SerialSession, self)._set_timeout(attribute, value)  # type: ignore[no-any-return]

    def _ending(self) -> int | None:
        ends = self.attrs[ResourceAttribute.asrl_end_in] == SerialTermination.termination_char
        return self.attrs[ResourceAttribute.termchar] if ends else None

    def close(self) -> StatusCode:
        """Close the port; closing twice is harmless."""
        self.interface.close()
        return StatusCode.success


def _opened(device: str) -> _Line:
    try:
        # an inter-byte time-out of zero has the kernel say "nothing yet" as it does for sockets, not "end of file"
        return _Line(device, exclusive=True, timeout=0, write_timeout=0, inter_byte_timeout=0)
    except termios.error as error:
        raise OpenError(StatusCode.error_resource_not_found) from error
    except OSError as error:  # pyserial's own are of this kind
        if error.errno in (errno.EBUSY, errno.EAGAIN):
            raise OpenError(StatusCode.error_resource_busy) from taken(device)
        if error.errno in (errno.EACCES, errno.EPERM):
            raise OpenError(StatusCode.error_no_permission) from denied(device)
        raise OpenError(StatusCode.error_resource_not_found) from error
