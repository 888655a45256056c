"""Small instruments on loopback sockets: they answer as told, and misbehave on demand."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress

#: What a reply is made of: bytes to send, seconds to wait, or `None` to close the connection.
Step = bytes | float | None
Answer = Callable[[str], str | None]


class ScriptedInstrument:
    """One instrument. `answer` gets each message unit that is no common command, and gives its reply or `None`."""

    def __init__(self, serial: str = "S-1", answer: Answer = lambda unit: None, model: str = "scripted") -> None:
        self.identity = f"Glasshouse Bench Works,{model},{serial},1.0"
        self.answer = answer
        self.errors: list[str] = []
        self.heard: list[str] = []
        self.misbehaviour: list[tuple[str, Sequence[Step]]] = []
        self.ending = b"\n"
        self._ese = 0

    def misbehave(self, prefix: str, *steps: Step) -> None:
        """Answer the next message that begins with `prefix` by these steps."""
        self.misbehaviour.append((prefix, steps))

    def reply_to(self, message: str) -> Sequence[Step]:
        """The steps that answer one message."""
        self.heard.append(message)
        for entry in self.misbehaviour:
            if message.startswith(entry[0]):
                self.misbehaviour.remove(entry)
                return entry[1]
        replies = [reply for unit in message.split(";") if (reply := self._unit(unit.strip().lstrip(":"))) is not None]
        return [";".join(replies).encode() + self.ending] if replies else []

    def _unit(self, unit: str) -> str | None:
        if match := re.fullmatch(r"\*ESE (\d+)", unit):
            self._ese = int(match[1])
            return None
        common = {"*IDN?": self.identity, "*OPC?": "1", "*ESE?": str(self._ese), "*RST": "", "*CLS": ""}
        if unit in common:
            return common[unit] or None
        if unit == "SYST:ERR?":
            return self.errors.pop(0) if self.errors else '+0,"No error"'
        return self.answer(unit)


class ScriptedServer:
    """Serves an instrument on a loopback port, to any number of connections."""

    def __init__(self, instrument: ScriptedInstrument) -> None:
        self.instrument = instrument
        self.connections = 0
        self._stopped = False
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._open: list[socket.socket] = []
        self._threads = [threading.Thread(target=self._accept, daemon=True)]
        self._threads[0].start()

    @property
    def address(self) -> str:
        """VISA resource name."""
        return f"TCPIP0::127.0.0.1::{self._listener.getsockname()[1]}::SOCKET"

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                connection, _ = self._listener.accept()
                if self._stopped:
                    connection.close()
                    return
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self.connections += 1
                self._open.append(connection)
                thread = threading.Thread(target=self._serve, args=(connection,), daemon=True)
                self._threads.append(thread)
                thread.start()

    def _serve(self, connection: socket.socket) -> None:
        received = b""
        with suppress(OSError), connection:
            while arrived := connection.recv(4096):
                *messages, received = (received + arrived).split(b"\n")
                for message in messages:
                    heard = message.strip() and connection in self._open  # what comes after a drop is not heard
                    if heard and not self._act(connection, message.decode().strip()):
                        return

    def _act(self, connection: socket.socket, message: str) -> bool:
        for step in self.instrument.reply_to(message):
            if step is None:
                return False
            if isinstance(step, bytes):
                connection.sendall(step)
            else:
                time.sleep(step)
        return True

    def drop(self) -> None:
        """Close all connections, as a pulled lead would."""
        for connection in self._open:
            with suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        self._open.clear()

    def stop(self) -> None:
        """Close everything; nobody answers on this port any more."""
        self._stopped = True
        with suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._threads[0].join(2.0)
        self.drop()
        for thread in self._threads:
            thread.join(2.0)


@contextmanager
def served(instrument: ScriptedInstrument) -> Iterator[ScriptedServer]:
    """Serve an instrument while the block runs."""
    server = ScriptedServer(instrument)
    try:
        yield server
    finally:
        server.stop()
