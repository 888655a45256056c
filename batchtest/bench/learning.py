"""What an instrument understands: harmless questions of the shipped dialects, what was answered, and a first file."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from batchtest.bench.dialect import (
    FOLDER,
    Dialect,
    HandlerDialect,
    LoadDialect,
    MeterDialect,
    ScannerDialect,
    SupplyDialect,
    load_dialect,
    shipped,
)
from batchtest.bench.frames import FramePort
from batchtest.bench.identity import parse_identity
from batchtest.bench.port import ENDINGS, Port, Wiring
from batchtest.bench.questions import Question, harmless, questions
from batchtest.errors import BenchError, InstrumentReplyError, InstrumentTimeout

if TYPE_CHECKING:
    import pyvisa

KINDS: dict[str, type[Dialect]] = {
    "meter": MeterDialect,
    "load": LoadDialect,
    "supply": SupplyDialect,
    "scanner": ScannerDialect,
    "handler": HandlerDialect,
}
#: After so many questions in a row without an answer a dialect is given up.
PATIENCE = 3


@dataclass(frozen=True, slots=True)
class Told:
    """What came of a question: the reply, `None` for none, and whether it is what the dialect expects."""

    field: str
    query: str
    reply: str | None
    understood: bool


@dataclass(frozen=True, slots=True)
class Candidate:
    """A shipped dialect, how many questions it has, and what came of those that were asked."""

    name: str
    questions: int
    told: tuple[Told, ...]

    @property
    def understood(self) -> int:
        """How many replies were what the dialect expects."""
        return sum(one.understood for one in self.told)

    @property
    def share(self) -> tuple[float, int]:
        """Share of its questions that were understood, and how many; for choosing the best."""
        return self.understood / max(1, self.questions), self.understood


@dataclass(frozen=True, slots=True)
class Learned:
    """Who the instrument is, what its messages end with, and the shipped dialects, the best first."""

    identity: str
    ending: str
    candidates: tuple[Candidate, ...]


class _Asker:
    """Asks one instrument; opens its connection anew after a question without an answer, and forgets no answer."""

    def __init__(self, port: Port, within_s: float) -> None:
        self._port, self._within_s = port, within_s
        self._known: dict[str, str | None] = {}

    def ask(self, query: str) -> str | None:
        """The reply, `None` where there is none in time. Empty lines before it are skipped."""
        if query not in self._known:
            self._known[query] = self._asked(query)
        return self._known[query]

    def _asked(self, query: str) -> str | None:
        try:
            self._port.write(query, self._within_s)
            reply = self._port.read(query, self._within_s)
            if not reply.strip():
                with suppress(InstrumentTimeout):
                    reply = self._port.read(query, self._within_s)
            return reply.strip("\r\n")
        except BenchError:
            self._port.close()
            self._port.open()
            return None


def learn(manager: pyvisa.ResourceManager, role: str, wiring: Wiring, within_s: float = 0.5) -> Learned:
    """Ask an instrument who it is, and then the harmless questions of every shipped dialect of a role.

    Parameters
    ----------
    wiring : where it is; its endings are tried first, then the others.
    within_s : how long each answer is waited for, real seconds.

    Raises
    ------
    BenchError : nobody is there, or it does not say who it is.
    """
    port, ending, identity = _met(manager, role, wiring, within_s)
    try:
        asker = _Asker(port, within_s)
        found = []
        for name in shipped(f"{role}-"):
            dialect = load_dialect(name, KINDS[role])
            if (dialect.adapter == "frames") is isinstance(port, FramePort):
                found.append(_tried(name, dialect, asker))
        return Learned(identity, ending, tuple(sorted(found, key=lambda one: one.share, reverse=True)))
    finally:
        port.close()


def _met(manager: pyvisa.ResourceManager, role: str, wiring: Wiring, within_s: float) -> tuple[Port, str, str]:
    """The connection on which an instrument says who it is, what messages end with there, and what it says."""
    first = next((name for name, ending in ENDINGS.items() if ending == wiring.write_ending), "LF")
    wrong: BenchError | None = None
    for name in dict.fromkeys((first, "LF", "CR", "CRLF", "none")):
        ended = replace(wiring, read_ending=ENDINGS[name], write_ending=ENDINGS[name])
        port = (FramePort if name == "none" else Port)(manager, role, ended)
        try:
            port.open()
            port.write("*IDN?", within_s)
            reply = port.read("*IDN?", within_s).strip() or port.read("*IDN?", within_s).strip()
            parse_identity(reply)
        except BenchError as error:
            port.close()
            wrong = error
        else:
            return port, name, reply
    raise BenchError(
        f"{role}: {wiring.address} does not say who it is, whatever its messages end with ({wrong}); "
        "check power, lead and baud rate"
    ) from wrong


def _tried(name: str, dialect: Dialect, asker: _Asker) -> Candidate:
    told: list[Told] = []
    wanted = [question for question in questions(dialect) if harmless(question.query)]
    for question in wanted:
        if len(told) >= PATIENCE and not any(one.reply for one in told):
            break
        reply = asker.ask(question.query)
        told.append(Told(question.field, question.query, reply, _reads(question, reply)))
    return Candidate(name, len(wanted), tuple(told))


def _reads(question: Question, reply: str | None) -> bool:
    try:
        if reply is not None:
            question.read(reply)
    except InstrumentReplyError:
        return False
    return reply is not None


def draft(learned: Learned) -> str:
    """The beginning of a dialect file: the best candidate's, made this instrument's, with what is open as comments."""
    best = learned.candidates[0]
    maker, model, *_ = parse_identity(learned.identity)
    lines = (FOLDER / f"{best.name}.toml").read_text("utf-8").splitlines()
    while lines[0].startswith("#"):
        del lines[0]
    pattern = "".join(sign if sign.isalnum() or sign in " ,-_" else "." for sign in f"{maker},{model},")
    unread = (one for one in best.told if not one.understood)
    head = [
        f"# Started by `batchtest bench --learn`: {learned.identity}",
        f"# It understood {best.understood} of {best.questions} questions of dialect {best.name}. In the bench file:",
        f'# read_ending = "{learned.ending}" and write_ending = "{learned.ending}". No command was tried: check each',
        "# line by the instrument's own manual, what switches off first, then rename the file after its style.",
        *(f"# open: {one.field}: {one.query!r} was answered with {one.reply!r}" for one in unread),
    ]
    return "\n".join([*head, lines[0], f"identity = '{pattern}[^,]*,.*'", *lines[1:]]) + "\n"
