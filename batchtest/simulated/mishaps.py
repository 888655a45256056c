"""What may befall one reply on its way: a value that says which bytes are sent, and when. Transports carry it out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mishap:
    """What befalls one reply.

    Parameters
    ----------
    late_s : it comes so much later, seconds of the bench's clock.
    keep : only so many of its bytes are sent, its ending counted as one; the rest never comes.
    no_ending : it has no ending.
    drop : the connection is closed in its place.
    drip_s : so long between each of its bytes and the next, seconds of the bench's clock.
    garbage : these bytes are sent in place of it, with its ending.
    refuse_s : after the drop nobody is let in again for so long, real seconds.
    """

    late_s: float = 0.0
    keep: int | None = None
    no_ending: bool = False
    drop: bool = False
    drip_s: float = 0.0
    garbage: bytes | None = None
    refuse_s: float = 0.0

    def pieces(self, reply: bytes, ending: bytes = b"\n") -> Iterator[tuple[float, bytes]]:
        """What is sent of a reply: how long to wait, seconds of the bench's clock, and the bytes to send then.

        Parameters
        ----------
        reply : without ending.
        ending : "" where the transport marks the end by itself.

        >>> list(Mishap(drip_s=0.5, late_s=2.0).pieces(b"1"))
        [(2.0, b'1'), (0.5, b'\\n')]
        """
        body = reply if self.garbage is None else self.garbage
        sent = (body if self.no_ending else body + ending)[: self.keep]
        if self.drop or not sent:
            return
        step = 1 if self.drip_s else len(sent)
        for start in range(0, len(sent), step):
            yield (self.drip_s if start else self.late_s), sent[start : start + step]
