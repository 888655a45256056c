"""Dialect files: the shipped ones load, and a slip in one is found when it is read."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from batchtest.bench.dialect import (
    FOLDER,
    Dialect,
    HandlerDialect,
    LoadDialect,
    MeterDialect,
    ScannerDialect,
    SupplyDialect,
    load_dialect,
)
from batchtest.bench.templates import asks, fill
from batchtest.errors import FileFaults, SetupError

KINDS: dict[str, type[Dialect]] = {
    "meter": MeterDialect,
    "load": LoadDialect,
    "supply": SupplyDialect,
    "scanner": ScannerDialect,
    "handler": HandlerDialect,
}


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_dialect_loads(path: Path) -> None:
    """A shipped dialect is right in every field, for the role that its name begins with."""
    role = path.stem.partition("-")[0]
    assert load_dialect(path.stem, KINDS[role]).role == role


def test_every_role_has_a_dialect() -> None:
    """There is a dialect for each role of a bench."""
    assert {path.stem.partition("-")[0] for path in FOLDER.glob("*.toml")} == set(KINDS)


SCANNER = """role = "scanner"
close = "ROUT:CLOS (@{channels})"
open_all = "ROUT:OPEN:ALL"
query = "ROUT:CLOS:STAT?"
"""


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        pytest.param("open_all", "opn_all", r"line 3: opn_all: .*open_all", id="unknown-key"),
        pytest.param("{channels}", "{chanels}", "has the placeholder 'chanels'; did you mean 'channels'", id="slip"),
        pytest.param("{channels}", "{channels", "has a brace without its partner", id="brace"),
        pytest.param("STAT?", "STAT", "needs a question mark", id="query-without-mark"),
        pytest.param("OPEN:ALL", "OPEN:ALL?", "must not have a question mark", id="command-with-mark"),
        pytest.param('"scanner"', '"meter"', "line 1: role", id="another-role"),
    ],
)
def test_a_slip_is_found_when_the_file_is_read(tmp_path: Path, old: str, new: str, message: str) -> None:
    """Each fault names its line and its cure, before anything is on."""
    (tmp_path / "own.toml").write_text(SCANNER.replace(old, new))
    with pytest.raises(FileFaults, match=message):
        load_dialect("own", ScannerDialect, tmp_path)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        pytest.param('identity = "("', "is no regular expression", id="pattern"),
        pytest.param(
            '[[status]]\nname = "x"\nquery = "S?"\n[status.bits]\n1 = "overcurrent"', "status", id="condition"
        ),
        pytest.param('[[status]]\nname = "x"\nquery = "S?"\n[status.bits]\none = "summary"', "status", id="bit"),
    ],
)
def test_values_are_checked(tmp_path: Path, line: str, message: str) -> None:
    """A pattern that is none, and a bit or a condition that nobody knows, are refused."""
    text = (FOLDER / "supply-outp.toml").read_text()
    (tmp_path / "own.toml").write_text(f"{line}\n{text}" if line.startswith("identity") else f"{text}\n{line}\n")
    with pytest.raises(FileFaults, match=message):
        load_dialect("own", SupplyDialect, tmp_path)


HANDLER = """role = "handler"
place = 'NEST:PLAC "{serial}"'
eject = "NEST:EJEC"
board = "NEST:BOAR?"
lid = "NEST:LID?"
"""
FIT, CABLE = "fit = 'NEST:CABL \"{cable}\"'\n", 'cable = "NEST:CABL?"\n'


@pytest.mark.parametrize(("lines", "fit"), [("", None), (FIT + CABLE, 'NEST:CABL "{cable}"')], ids=["without", "with"])
def test_a_handler_may_change_cables_or_not(tmp_path: Path, lines: str, fit: str | None) -> None:
    """The command and its query come together, or neither of them."""
    (tmp_path / "own.toml").write_text(HANDLER + lines)
    assert load_dialect("own", HandlerDialect, tmp_path).fit == fit


@pytest.mark.parametrize(
    ("line", "message"),
    [
        pytest.param(FIT, r"cable: is missing beside fit, .*; add its query", id="query"),
        pytest.param(CABLE, r"fit: is missing beside cable; add the command that fits one, .*", id="command"),
        pytest.param(
            FIT.replace("{cable}", "{serial}"), "fit: has the placeholder 'serial'; known: cable", id="placeholder"
        ),
    ],
)
def test_half_of_what_changes_cables_is_refused(tmp_path: Path, line: str, message: str) -> None:
    """A cable that was fitted and cannot be read back is not known, and the reverse is of no use."""
    (tmp_path / "own.toml").write_text(HANDLER + line)
    with pytest.raises(FileFaults, match=rf"own\.toml: line \d: {message}"):
        load_dialect("own", HandlerDialect, tmp_path)


@pytest.mark.parametrize("missing", ["host_on", "host_off", "host"])
def test_a_host_that_can_only_be_half_switched_is_refused(tmp_path: Path, missing: str) -> None:
    """What switches a host on must switch it off, and tell which: all three messages, or none."""
    messages = {"host_on": "NEST:HOST ON", "host_off": "NEST:HOST OFF", "host": "NEST:HOST?"}
    lines = "".join(f'{name} = "{message}"\n' for name, message in messages.items() if name != missing)
    (tmp_path / "own.toml").write_text(HANDLER + lines)
    with pytest.raises(FileFaults, match=rf"{missing}: is missing beside the others that switch a host; add it"):
        load_dialect("own", HandlerDialect, tmp_path)


def test_a_projects_own_dialect_is_found_beside_the_shipped_ones(tmp_path: Path) -> None:
    """By its name, in the folder for them; a name that is nearly right is answered with the right one."""
    folder = tmp_path / "fixtures" / "dialects"
    folder.mkdir(parents=True)
    (folder / "scanner-hall.toml").write_text(SCANNER)
    assert load_dialect("scanner-hall", ScannerDialect, folder).open_all == "ROUT:OPEN:ALL"
    assert load_dialect("scanner-words", ScannerDialect, folder).open_all == "OPEN"
    with pytest.raises(SetupError, match="no dialect 'scanner-hal'; did you mean 'scanner-hall'"):
        load_dialect("scanner-hal", ScannerDialect, folder)


def test_the_name_of_a_shipped_dialect_is_refused(tmp_path: Path) -> None:
    """Even where another one is asked for: a record must tell which of the two was spoken."""
    folder = tmp_path / "fixtures" / "dialects"
    folder.mkdir(parents=True)
    (folder / "scanner-words.toml").write_text(SCANNER)
    with pytest.raises(SetupError, match=r"dialects/scanner-words\.toml has the name of a shipped dialect; rename it"):
        load_dialect("scanner-slots", ScannerDialect, folder)


@pytest.mark.parametrize(
    ("style", "old", "new", "message"),
    [
        pytest.param("meter-rate", 'acknowledge = "OK", ', "", "nothing would tell of a refused command", id="deaf"),
        pytest.param("meter-resolution", 'separator = ";"', 'separator = ","', "is the decimal comma too", id="comma"),
        pytest.param("meter-rate", '"OL", ', '"", ', "blank_lines skips empty lines", id="empty"),
        pytest.param("meter-rate", "integrations = [", "x_ = [", "integrations", id="no-words"),
        pytest.param(
            "load-integers", "value = 3, of = 3", "value = 4, of = 3", "is 4, and the reply has 3", id="value"
        ),
        pytest.param("load-integers", 'range = "RANG{channel} {range}"', "", "ranges: stands without", id="ranges"),
        pytest.param("load-modes", 'words = ["CCL", "CCH"]', "", "mode.words: is missing beside query", id="mode"),
        pytest.param("supply-text", 'kind = "text"\nwords', "words", "which has bits", id="words"),
        pytest.param("supply-text", '= "nothing" }', '= "nothing" }\nbits = { 1 = "summary" }', "has words", id="bits"),
        pytest.param("scanner-slots", '"flags"', '"list"', "is 'flags' where the query has", id="flags"),
        pytest.param("scanner-slots", "last = 399", "last = 99", "first: 101 is above last 99", id="first"),
        pytest.param("scanner-slots", '"{slot}!{number}"', '"{slot}"', "needs {channel}, or {slot} and", id="name"),
    ],
)
def test_what_would_mean_two_things_is_refused(tmp_path: Path, style: str, old: str, new: str, message: str) -> None:
    """A dialect whose fields contradict each other is found when it is read."""
    text = (FOLDER / f"{style}.toml").read_text()
    assert old in text
    (tmp_path / "own.toml").write_text(text.replace(old, new))
    with pytest.raises(FileFaults, match=re.escape(message)):
        load_dialect("own", KINDS[style.partition("-")[0]], tmp_path)


def test_a_missing_dialect_names_the_nearest() -> None:
    """A name that is nearly right is answered with the right one."""
    with pytest.raises(SetupError, match="no dialect 'meter-confred'; did you mean 'meter-confread'"):
        load_dialect("meter-confred", MeterDialect)


def test_the_shipped_dialects_are_read_once() -> None:
    """Opening a bench again does not read its dialects again."""
    assert load_dialect("supply-outp", SupplyDialect) is load_dialect("supply-outp", SupplyDialect)


@pytest.mark.parametrize(
    ("message", "answer"),
    [("*IDN?", True), ("CURR 1", False), ('NEST:PLAC "A?"', False), ('X "a";Y?', True)],
    ids=["query", "command", "quoted", "compound"],
)
def test_a_question_mark_in_quotes_asks_nothing(message: str, answer: bool) -> None:
    """What is quoted is data."""
    assert asks(message) is answer


def test_numbers_are_written_plainly() -> None:
    """Numbers go out with nine digits and no unit, which every instrument reads."""
    assert fill("CURR {amperes},(@{channel})", amperes=1 / 3, channel=2) == "CURR 0.333333333,(@2)"
