"""What a machine must have before an instrument can be reached by USB or GPIB, and which file lets its user in."""

from __future__ import annotations

from pathlib import Path

from batchtest.files.address import address_kind

#: Rules for USB instruments and serial adapters, to be copied to where udev reads them.
UDEV_RULES = Path(__file__).parent / "udev" / "70-batchtest.rules"

_NEEDS = {
    "USB": "an instrument on USB needs `pip install pyusb libusb-package`, its lead and its power, and leave for this "
    f"user: have the administrator copy {UDEV_RULES} to /etc/udev/rules.d and run `udevadm control --reload` and "
    "`udevadm trigger`",
    "GPIB": "an instrument on GPIB needs the linux-gpib driver and `pip install gpib-ctypes`, or a system VISA with "
    'visa = "@ivi" in the bench file',
}


def needs(address: str) -> str:
    """What an address needs that did not open, as the tail of a message; "" for kinds that need nothing.

    >>> needs("GPIB0::22::INSTR")[:40]
    '; an instrument on GPIB needs the linux-'
    """
    wanted = _NEEDS.get(address_kind(address) or "")
    return f"; {wanted}" if wanted else ""
