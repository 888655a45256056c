"""Who an instrument is: what `*IDN?` answers must be maker, model and serial of the bench file."""

from __future__ import annotations

import re

from batchtest.bench.dialect import Dialect, dialect_sha256
from batchtest.bench.link import Link
from batchtest.bench.templates import in_range
from batchtest.errors import BenchError, InstrumentReplyError
from batchtest.files.bench import Instrument
from batchtest.nouns import InstrumentIdentity, Role


def parse_identity(reply: str) -> tuple[str, str, str, str]:
    """Maker, model, serial and firmware (IEEE 488.2 10.14: four fields joined by commas).

    >>> parse_identity("Glasshouse Bench Works,simulated meter,SM-1,1.0")
    ('Glasshouse Bench Works', 'simulated meter', 'SM-1', '1.0')
    """
    fields = [field.strip() for field in reply.split(",")]
    if len(fields) != 4:
        raise InstrumentReplyError(f"{reply!r} is not maker, model, serial and firmware")
    return fields[0], fields[1], fields[2], fields[3]


def prove_identity(link: Link, role: Role, instrument: Instrument, dialect: Dialect) -> InstrumentIdentity:
    """Ask an instrument who it is, and refuse any other than the bench file's; the link then stays with this one.

    Raises
    ------
    BenchError : it is another one, does not tell its serial, or its firmware is not the dialect's.
    """
    reply, (maker, model, serial, firmware) = link.ask("*IDN?", lambda reply: (reply.strip(), parse_identity(reply)))
    identity = instrument.identity
    found, wanted = (maker, model, serial), (identity.maker, identity.model, identity.serial)
    if found != wanted or serial in ("", "0"):
        raise BenchError(
            f"{link.name}: {instrument.address} is {_shown(*found)}, the bench file wants {_shown(*wanted)}; "
            "connect the right instrument, or mend identity and calibration in the bench file"
        )
    if re.fullmatch(dialect.identity, reply) is None:
        raise BenchError(
            f"{link.name}: {reply!r} does not match {dialect.identity!r} of dialect {instrument.dialect!r}; "
            "the dialect was not tried on it"
        )
    if not in_range(firmware, dialect.firmware):
        raise BenchError(
            f"{link.name}: firmware {firmware!r} is not in {dialect.firmware!r}, which dialect {instrument.dialect!r} "
            "was tried on; try the dialect on it, then widen its firmware"
        )
    link.identity = reply
    age = instrument.calibration_age
    return InstrumentIdentity(
        role=role,
        maker=maker,
        model=model,
        serial=serial,
        firmware=firmware,
        address=instrument.address or "",
        dialect=instrument.dialect,
        calibrated=instrument.calibrated,
        due=instrument.due,
        calibration_age_d=None if age is None else float(age) / 86400,
        certificate=instrument.certificate,
        dialect_sha256=dialect_sha256(instrument.dialect),
    )


def _shown(maker: str, model: str, serial: str) -> str:
    return f"{maker!r} {model!r}, serial {serial if serial not in ('', '0') else 'which it does not tell'}"
