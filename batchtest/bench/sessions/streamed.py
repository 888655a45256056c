"""What sessions on a byte stream share: reading to an ending, writing, and dropping what came, each within its time."""

from __future__ import annotations

from typing import Any

from pyvisa.constants import BufferOperation, StatusCode

from batchtest.bench.sessions.stream import Stream, WireError, deadline_after

#: Flushing with any of these drops what was received.
DISCARD = (
    BufferOperation.discard_read_buffer
    | BufferOperation.discard_read_buffer_no_io
    | BufferOperation.discard_receive_buffer
    | BufferOperation.discard_receive_buffer2
)


class Streamed:
    """Goes before a pyvisa-py session class, which sets `_stream` when it has connected."""

    _stream: Stream
    #: Set by pyvisa-py: s, `None` for ever.
    timeout: Any

    def _ending(self) -> int | None:
        """The byte that ends a message; `None`: none does."""
        raise NotImplementedError

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """Bytes up to and with the termination character, or `count` of them.

        Nothing is handed over when time is up or the connection is lost: what was received stays in the buffer.
        """
        try:
            return self._stream.line(count, self._ending(), deadline_after(self.timeout))
        except WireError as error:
            return b"", error.status

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Give all of `data` to the peer or the kernel, or as much as it takes before time is up."""
        return self._stream.send(data, deadline_after(self.timeout))

    def waiting(self) -> bytes:
        """What has arrived and was not read, left where it is; never waits."""
        return self._stream.peek()

    def clear(self) -> StatusCode:
        """Drop what has arrived; a stream has no device clear, the instrument is not told."""
        self._stream.peek()
        self._stream.buffer.clear()
        return StatusCode.success

    def flush(self, mask: BufferOperation) -> StatusCode:
        """Drop received bytes where the mask asks for it; nothing sent is held back here."""
        if mask & DISCARD:
            self.clear()
        return StatusCode.success
