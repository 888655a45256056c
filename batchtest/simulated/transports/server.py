"""What all transports share: the mishaps to come, the waiting for replies on the bench's clock, and the end of it."""

from __future__ import annotations

import abc
import socket
import threading
from collections.abc import Callable

from batchtest.clock import Clock
from batchtest.simulated.faces import Served
from batchtest.simulated.mishaps import Mishap
from batchtest.simulated.scpi import Exchange
from batchtest.simulated.transports.listener import Listener

#: Longest piece of a wait, in seconds of the clock, after which a server looks whether it is to stop.
_PIECE_S = 1.0


class Server(abc.ABC):
    """Serves one instrument until `stop`; the next of its faults' `mishaps` befalls its next reply."""

    def __init__(self, instrument: Served, clock: Clock) -> None:
        self.instrument = instrument
        self.mishaps = instrument.faults.mishaps
        self._clock = clock
        self._stopping = threading.Event()

    @property
    @abc.abstractmethod
    def address(self) -> str:
        """VISA resource name of the instrument."""

    @abc.abstractmethod
    def stop(self) -> None:
        """Close everything, and wait for every thread; again does nothing."""

    def _carried_out(self, exchange: Exchange, message: bytes | None) -> tuple[bytes, float] | None:
        """The reply to a message, without its ending, and when it is ready; `None` where it has none."""
        exchange.write(message, self._clock.now())
        return exchange.read() if exchange.waiting else None

    def _answer(self, exchange: Exchange, message: bytes | None, send: Callable[[bytes], None]) -> bool:
        """Carry out one message and send its reply in time; `False` where the connection is to be closed."""
        reply = self._carried_out(exchange, message)
        return reply is None or self._deliver(*reply, send)

    def _deliver(self, reply: bytes, ready_at: float, send: Callable[[bytes], None]) -> bool:
        """Send a reply when it is ready, as the next mishap has it; `False` where the connection is to be closed.

        A new message while a reply is under way throws the rest of it away, error -410 (IEEE 488.2, 6.3.2.3).
        """
        mishap = self._next_mishap()
        self._wait_until(ready_at)
        for number, (wait_s, piece) in enumerate(mishap.pieces(reply, self.instrument.ending)):
            self._wait_until(self._clock.now() + wait_s, within_reply=number > 0)
            if self._stopping.is_set():
                return False
            if number and self._interrupted():
                self.instrument.fail(-410)
                break
            send(piece)
        return not (mishap.drop or self._stopping.is_set())

    @abc.abstractmethod
    def _refuse(self, seconds: float) -> None:
        """Let nobody in for so many real seconds, where the transport has connections."""

    def _next_mishap(self) -> Mishap:
        mishap = self.mishaps.popleft() if self.mishaps else Mishap()
        if mishap.refuse_s:
            self._refuse(mishap.refuse_s)
        return mishap

    def _interrupted(self) -> bool:
        """Whether a new message has come while a reply is under way, where the transport can tell."""
        return False

    def _wait_until(self, moment: float, *, within_reply: bool = False) -> None:
        while (now := self._clock.now()) < moment and not self._stopping.is_set():
            if within_reply and self._interrupted():
                return
            self._clock.wait_until(min(moment, now + _PIECE_S))


class ListeningServer(Server):
    """A server on a TCP port of its own, whose connections each go to `_serve` in a thread."""

    def __init__(self, instrument: Served, clock: Clock, title: str, connections: int | None = None) -> None:
        super().__init__(instrument, clock)
        self._listener = Listener(title, self._serve, connections)
        self.port = self._listener.port

    def stop(self) -> None:
        """Close the port and every connection; again does nothing."""
        self._stopping.set()
        self._listener.stop()

    def _refuse(self, seconds: float) -> None:
        self._listener.refuse(seconds)

    @abc.abstractmethod
    def _serve(self, connection: socket.socket) -> None:
        """Talk to one client until it has gone or the server stops."""
