"""The exchange of messages between one client and an instrument: output queue and query errors (IEEE 488.2, 6)."""

from __future__ import annotations

from typing import Protocol


class Device(Protocol):
    """What an exchange needs of an instrument."""

    def execute_at(self, message: bytes, now: float) -> tuple[bytes, float]:
        """Carry out a message; the reply and when it is ready, s."""
        ...

    def fail(self, number: int, detail: str = "") -> None:
        """Put an error into the queue."""
        ...


class Exchange:
    """One client's way to an instrument: a message in, its reply out, in turn.

    A new message while a reply is unread throws the reply away (-410); asking for a reply where no query was sent is
    -420. On a stream such as a raw socket every reply is sent at once, and neither can come about.
    """

    def __init__(self, device: Device) -> None:
        self._device = device
        self._reply: tuple[bytes, float] | None = None

    def write(self, message: bytes | None, now: float) -> float:
        """Give the instrument a message that arrived at `now`, s; `None` for one that was longer than its buffer.

        Returns
        -------
        float : when the instrument is through with it, s.
        """
        if self._reply is not None:
            self._reply = None
            self._device.fail(-410)
        if message is None:
            self._device.fail(-363)
            return now
        reply, ready_at = self._device.execute_at(message, now)
        self._reply = (reply, ready_at) if reply else None
        return ready_at

    @property
    def waiting(self) -> bool:
        """Whether a reply waits to be read."""
        return self._reply is not None

    def read(self) -> tuple[bytes, float] | None:
        """The reply and when it is ready, s; `None` and error -420 where there is none."""
        if self._reply is None:
            self._device.fail(-420)
            return None
        reply, self._reply = self._reply, None
        return reply
