"""One connection to one instrument: whole messages out, whole lines in, each with a deadline. All of VISA is here.

Foreign exceptions end here: `instrument_errors` turns each family of them into ours.
"""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import pyvisa
from pyvisa.constants import ResourceAttribute, StatusCode
from pyvisa.errors import InvalidSession, VisaIOError
from pyvisa.resources import MessageBasedResource

from batchtest.bench.access import needs
from batchtest.errors import BenchError, InstrumentLost, InstrumentReplyError, InstrumentTimeout, SetupError
from batchtest.files.address import address_kind
from batchtest.files.bench import Instrument

#: A reply longer than this is no answer to any question of ours, bytes.
LONGEST_REPLY = 65536
ENDINGS = {"LF": "\n", "CR": "\r", "CRLF": "\r\n", "none": ""}
#: Kinds of connection that know a device clear.
_CLEARABLE = ("HISLIP", "VXI11", "USB", "GPIB")
_LOST = {
    StatusCode.error_connection_lost,
    StatusCode.error_resource_not_found,
    StatusCode.error_system_error,
    StatusCode.error_io,
    StatusCode.error_invalid_object,
}


@contextmanager
def instrument_errors(name: str, sent: str, received: Callable[[], bytes | None] = lambda: None) -> Iterator[None]:
    """Translate what pyvisa, pyserial and the socket raise, with the message that was out.

    Parameters
    ----------
    name : the instrument, as the bench file calls it.
    sent : the message that was out.
    received : tells which bytes had come when it went wrong; `None` where that is not known.

    Raises
    ------
    InstrumentTimeout, InstrumentLost, InstrumentReplyError, BenchError : in place of the foreign exception, which is
        kept as the cause. `NotImplementedError` passes: it is our bug.
    SetupError : this user may not open the port.
    """
    try:
        yield
    except VisaIOError as error:
        raise _translated(error, name, sent, received()) from error
    except UnicodeError as error:
        raise InstrumentReplyError(
            f"{name}: reply to {sent!r} is not ASCII ({error}); check lead and baud rate"
        ) from error
    except (InvalidSession, OSError) as error:
        raise InstrumentLost(f"{name}: connection lost at {sent!r} ({error}); check power and lead") from error


def _translated(error: VisaIOError, name: str, sent: str, received: bytes | None) -> BenchError | SetupError:
    so_far = "" if received is None else f", received so far: {received!r}" if received else ", nothing received"
    if error.error_code == StatusCode.error_timeout:
        cure = "the ending may be another, see read_ending" if received else "check power and lead"
        return InstrumentTimeout(f"{name}: no whole reply to {sent!r} in time{so_far}; {cure}")
    if error.error_code == StatusCode.error_no_permission:
        return SetupError(f"{name}: {_reason(error)}")
    if error.error_code == StatusCode.error_resource_busy:
        return BenchError(f"{name}: {_reason(error)}")
    if error.error_code in _LOST:
        return InstrumentLost(f"{name}: connection lost at {sent!r} ({_reason(error)}){so_far}; check power and lead")
    return BenchError(f"{name}: {sent!r} failed ({error.abbreviation}){so_far}; check power and lead")


def _reason(error: BaseException) -> str:
    """What the operating system said, where pyvisa passed on only a code."""
    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, OSError):
            return cause.strerror or str(cause)
        cause = cause.__cause__ or cause.__context__
    return error.abbreviation if isinstance(error, VisaIOError) else str(error)


@dataclass(frozen=True, slots=True)
class Wiring:
    """Where an instrument is and how its messages end. Endings are "" where the interface marks the end itself."""

    address: str
    read_ending: str
    write_ending: str
    baud: int | None
    open_s: float

    @classmethod
    def of(cls, instrument: Instrument, name: str) -> Wiring:
        """From the bench file; SetupError where there is no address, as in a simulated bench that was not started."""
        address = instrument.address
        if address is None:
            raise SetupError(f"{name}: has no address; write one such as 'TCPIP0::192.168.0.5::5025::SOCKET'")
        return cls(
            address=address,
            read_ending=ENDINGS[instrument.read_ending] if instrument.read_ending else "",
            write_ending=ENDINGS[instrument.write_ending] if instrument.write_ending else "",
            baud=instrument.baud if address_kind(address) == "ASRL" else None,
            open_s=float(instrument.open),
        )


class Port:
    """A connection that can be closed and opened anew; settings are applied each time."""

    def __init__(self, manager: pyvisa.ResourceManager, name: str, wiring: Wiring) -> None:
        self.name, self.wiring = name, wiring
        self._manager = manager
        self._resource: MessageBasedResource | None = None
        self._timeout_ms = 0

    def open(self) -> None:
        """Connect within the open deadline.

        Raises
        ------
        InstrumentTimeout, InstrumentLost : nobody answers, or the port is refused.
        SetupError : the address is none, or not of an instrument that takes messages.
        """
        address = self.wiring.address
        try:
            with instrument_errors(self.name, f"open {address}"):
                resource = self._manager.open_resource(address, open_timeout=round(self.wiring.open_s * 1000))
        except InstrumentLost as error:
            if getattr(error.__cause__, "errno", None) != errno.EACCES:
                raise
            raise SetupError(f"{self.name}: may not open {address!r}{needs(address)}") from error
        except ValueError as error:  # pyvisa: no such kind of address, or an interface that is not installed
            said = str(error).partition("\n")[0]
            raise SetupError(f"{self.name}: cannot open {address!r}: {said}{needs(address)}") from error
        if not isinstance(resource, MessageBasedResource):
            resource.close()
            raise SetupError(
                f"{self.name}: {address!r} is not an instrument that takes messages; is '::SOCKET' missing?"
            )
        self._resource = resource
        self._timeout_ms = 0
        self._configure(resource)

    def _configure(self, resource: MessageBasedResource) -> None:
        with instrument_errors(self.name, f"set up {self.wiring.address}"):
            if self.wiring.read_ending:
                resource.read_termination = self.wiring.read_ending
            if self.wiring.baud is not None:
                resource.set_visa_attribute(ResourceAttribute.asrl_baud_rate, self.wiring.baud)

    def close(self) -> None:
        """Close the connection; closing twice is harmless."""
        if self._resource is not None:
            resource, self._resource = self._resource, None
            with instrument_errors(self.name, "close"):
                resource.close()

    def write(self, message: str, within_s: float) -> None:
        """Send one message with its ending.

        Raises
        ------
        InstrumentTimeout, InstrumentLost : the instrument did not take it.
        """
        with instrument_errors(self.name, message):
            self._deadline(within_s).write_raw(f"{message}{self.wiring.write_ending}".encode("ascii"))

    def read(self, sent: str, within_s: float) -> str:
        """Read one whole line, without its ending.

        Parameters
        ----------
        sent : what was asked, for messages.
        within_s : deadline for the whole line, s.

        Raises
        ------
        InstrumentTimeout, InstrumentLost : no whole line came.
        InstrumentReplyError : it is not ASCII, or has no end.
        """
        with instrument_errors(self.name, sent, self.waiting):
            line = self._deadline(within_s).read_bytes(LONGEST_REPLY, LONGEST_REPLY, break_on_termchar=True)
            text = line.decode("ascii")
        if not text.endswith(self.wiring.read_ending[-1:]) or len(line) >= LONGEST_REPLY:
            raise InstrumentReplyError(f"{self.name}: reply to {sent!r} has no end: {text[:40]!r}...; see read_ending")
        return text.rstrip("\r\n")

    def clear(self, within_s: float) -> None:
        """Have the instrument drop what it is doing for us, where the connection knows a device clear; else nothing.

        Raises
        ------
        InstrumentTimeout, InstrumentLost : it did not.
        """
        if address_kind(self.wiring.address) in _CLEARABLE:
            with instrument_errors(self.name, "device clear"):
                self._deadline(within_s).clear()

    def waiting(self) -> bytes | None:
        """What has arrived and nobody read; never waits. `None` where the interface cannot tell."""
        session = self._session()
        return bytes(session.waiting()) if hasattr(session, "waiting") else None

    @property
    def keeps_late_replies(self) -> bool:
        """Whether a reply to an earlier question may still come after opening anew: a serial line does not end."""
        return self.wiring.address.upper().startswith("ASRL")

    def skip(self, within_s: float) -> None:
        """Read one whole line and drop it; raises as `read` does."""
        self.read("nothing", within_s)

    def drop(self) -> None:
        """Drop what has arrived, a line without its end too."""
        session = self._session()
        if hasattr(session, "waiting"):
            session.clear()

    def stray(self) -> bytes:
        """Bytes that came although nothing was asked; blanks and empty lines are dropped, they answer nothing."""
        waiting = self.waiting() or b""
        if waiting and not waiting.strip():
            self._session().clear()
            return b""
        return waiting

    def _session(self) -> Any:
        """pyvisa-py's own session object, which knows more than VISA can ask; `None` while closed."""
        try:
            return self._resource and getattr(self._resource.visalib, "sessions", {}).get(self._resource.session)
        except InvalidSession:
            return None

    def _deadline(self, within_s: float) -> MessageBasedResource:
        if self._resource is None:
            raise InstrumentLost(
                f"{self.name}: the connection is closed; check power and lead of {self.wiring.address}"
            )
        timeout_ms = max(1, round(within_s * 1000))
        if timeout_ms != self._timeout_ms:
            self._resource.timeout = timeout_ms
            self._timeout_ms = timeout_ms
        return self._resource
