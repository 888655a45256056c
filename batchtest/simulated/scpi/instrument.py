"""An instrument on the device side of SCPI: common commands, dispatch, and the time that its work takes.

Nothing here waits. `execute_at` says what is answered and when it is ready; the transport does the waiting.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from batchtest.simulated.scpi.errors import CLASS_BITS, ErrorQueue, ScpiError, class_of
from batchtest.simulated.scpi.message import Unit, units
from batchtest.simulated.scpi.numbers import real
from batchtest.simulated.scpi.parameters import Integer, Parameter
from batchtest.simulated.scpi.status import EVENT_BITS, EventRegister, Status
from batchtest.simulated.scpi.tree import Answer, Command, Tree

#: SCPI version that the core keeps to.
SCPI_VERSION = "1999.0"


def identity_line(*fields: str) -> str:
    """Answer to `*IDN?`: maker, model, serial, firmware (IEEE 488.2, 10.14).

    Raises
    ------
    ValueError : not four fields, a field with a comma, semicolon or non-ASCII sign, or more than 72 characters.
    """
    line = ",".join(fields)
    if len(fields) != 4 or line.count(",") != 3 or ";" in line or not line.isascii() or not line.isprintable():
        raise ValueError(f"an identity has four plain fields (maker, model, serial, firmware), not {fields!r}")
    if len(line) > 72:
        raise ValueError(f"an identity has at most 72 characters, {line!r} has {len(line)}; shorten maker or model")
    return line


class ScpiInstrument:
    """A message core with the common commands; instruments add theirs with `add`, and what `*RST` does with `reset`.

    `moment` is the time of the command being carried out, s; a handler moves it on with `spend`.
    """

    def __init__(self, identity: str) -> None:
        self.identity = identity
        self.errors = ErrorQueue()
        self.status = Status()
        self.moment = 0.0
        self._answers: list[str] = []
        self._tree = Tree()
        self._add_common()
        self._add_system()
        for name, register in (("QUESTIONABLE", self.status.questionable), ("OPERATION", self.status.operation)):
            self._add_register(f"STATUS:{name}", register)

    def add(self, header: str, handler: Callable[..., object], *parameters: Parameter, optional: int = 0) -> None:
        """Add a command or (with `?`) a query; the last `optional` parameters may be left out."""
        self._tree.add(header, Command(handler, parameters, len(parameters) - optional))

    def reset(self) -> None:
        """What `*RST` does to this instrument's own settings."""

    def refresh(self) -> None:
        """Bring the condition registers up to `moment`; called before every command."""

    def spend(self, seconds: float) -> None:
        """The command being carried out takes this long."""
        self.moment += seconds

    def execute_at(self, message: bytes, now: float) -> tuple[bytes, float]:
        """Carry out one program message that arrived at `now`, s, after all work that is still going on.

        Returns
        -------
        reply, ready_at : answers joined by `;` without ending (b"" for none), and when the work is done, s.
        """
        self.moment = max(self.moment, now)
        self._answers = []
        self._execute(message)
        return ";".join(self._answers).encode("ascii"), self.moment

    def fail(self, number: int, detail: str = "") -> None:
        """Put an error into the queue and its bit into the event register."""
        self.errors.add(number, detail)
        self.status.events |= 1 << CLASS_BITS[class_of(number)]

    def _execute(self, message: bytes) -> None:
        path = self._tree.root
        indefinite = False
        try:
            for unit in units(message):
                command, path = self._tree.find(unit.header, path)
                if indefinite and unit.header.endswith("?"):
                    raise ScpiError(-440, unit.header)
                self._carry_out(command, unit)
                indefinite = indefinite or command.indefinite
        except (
            ScpiError
        ) as error:  # a command error: the rest of the message is not to be trusted (IEEE 488.2, 6.1.7.1)
            self.fail(error.number, error.detail)

    def _carry_out(self, command: Command, unit: Unit) -> None:
        if len(unit.tokens) < command.required:
            raise ScpiError(-109, unit.header)
        if len(unit.tokens) > len(command.parameters):
            raise ScpiError(-108, unit.header)
        self.refresh()
        try:
            pairs = zip(command.parameters, unit.tokens, strict=False)
            answer = command.handler(*[parameter(token) for parameter, token in pairs])
        except ScpiError as error:
            if class_of(error.number) == "command":
                raise
            self.fail(error.number, error.detail or unit.header)
            return
        if answer is not None:
            self._answers.append(written(answer))

    def _add_common(self) -> None:
        status = self.status
        byte = Integer(0, 255)
        self.add("*IDN?", lambda: self.identity)
        self._tree.add("*OPT?", Command(lambda: "0", indefinite=True))
        self.add("*CLS", self._clear)
        self.add("*RST", self.reset)
        self.add("*TST?", lambda: 0)
        self.add("*WAI", lambda: None)
        self.add("*OPC", lambda: self._set_events(status.events | EVENT_BITS["OPC"]))
        self.add("*OPC?", lambda: 1)
        self.add("*ESE", lambda value: setattr(status, "event_enable", value), byte)
        self.add("*ESE?", lambda: status.event_enable)
        self.add("*ESR?", status.take_events)
        self.add("*SRE", lambda value: setattr(status, "service_enable", value & ~64), byte)
        self.add("*SRE?", lambda: status.service_enable)
        self.add("*STB?", self.status_byte)

    def _add_system(self) -> None:
        self.add("SYSTEM:ERROR[:NEXT]?", self.errors.take)
        self.add("SYSTEM:ERROR:COUNT?", lambda: len(self.errors))
        self.add("SYSTEM:VERSION?", lambda: SCPI_VERSION)
        self.add("STATUS:PRESET", self._preset)

    def _add_register(self, header: str, register: EventRegister) -> None:
        mask = Integer(0, 65535)
        self.add(f"{header}[:EVENT]?", register.take_event)
        self.add(f"{header}:CONDITION?", lambda: register.condition)
        for word, name in (("ENABLE", "enable"), ("PTRANSITION", "rising"), ("NTRANSITION", "falling")):
            self.add(f"{header}:{word}", lambda value, name=name: setattr(register, name, value & 0x7FFF), mask)
            self.add(f"{header}:{word}?", lambda name=name: getattr(register, name))

    def _set_events(self, events: int) -> None:
        self.status.events = events

    def _clear(self) -> None:
        self.errors.clear()
        self.status.clear()

    def _preset(self) -> None:
        self.status.questionable.preset()
        self.status.operation.preset()

    def status_byte(self) -> int:
        """The status byte, as a serial poll reads it (IEEE 488.2, 11.2)."""
        return self.status.byte(errors=len(self.errors) > 0, message_available=bool(self._answers))


def written(answer: object) -> str:
    """An answer as response data: NR1, NR3, text as it stands, or several joined by commas (IEEE 488.2, 8.4)."""
    if isinstance(answer, Answer):
        return _single(answer)
    if isinstance(answer, Iterable):
        return ",".join(written(one) for one in answer)
    raise TypeError(f"no answer: {answer!r}")


def _single(answer: Answer) -> str:
    if isinstance(answer, str):
        return answer
    return real(answer) if isinstance(answer, float) else str(int(answer))
