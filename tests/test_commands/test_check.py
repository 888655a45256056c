"""`batchtest check --write-limits`, and limits kept in a CSV, from the files to the procedure."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from stations import ROOT, derive_once

from batchtest.commands import program
from batchtest.errors import FileFaults, SetupError
from batchtest.files.library import load_setup
from batchtest.procedure import derive


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo's own files, free to be changed, with the program called there."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write(*arguments: str) -> None:
    """Run the command; its errors are raised."""
    program.main(["check", "vent-nest", "--bench", "simulated", *arguments], standalone_mode=False)


def test_the_same_procedure_follows_from_a_csv(folder, capsys):
    """The shipped limits, written as CSV by the command, give setup and procedure to the last window."""
    write("--write-limits", "limits/vent.csv")
    assert "keep one of the two in limits/, vent.toml or vent.csv" in capsys.readouterr().out
    with pytest.raises(FileFaults, match=r"limits/vent\.csv: stands beside limits/vent\.toml; keep one of the two"):
        load_setup(folder, "vent-nest", "simulated")
    (folder / "limits" / "vent.toml").unlink()
    shipped, own = load_setup(ROOT, "vent-nest", "simulated"), load_setup(folder, "vent-nest", "simulated")
    assert replace(own, root=shipped.root, hashes=shipped.hashes) == shipped
    one, other = derive_once(shipped), derive(own)
    assert (other.gate, other.powered, other.seconds) == (one.gate, one.powered, one.seconds)


def test_limits_go_back_into_a_toml_file(folder):
    """From CSV to TOML: the values that the CSV was written from."""
    write("--write-limits", "limits/vent.csv")
    (folder / "limits" / "vent.toml").unlink()
    write("--write-limits", "limits/vent.toml")
    (folder / "limits" / "vent.csv").unlink()
    limits = load_setup(folder, "vent-nest", "simulated").limits
    assert limits == load_setup(ROOT, "vent-nest", "simulated").limits


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        pytest.param(["--write-limits", "limits/vent.toml"], "File exists.; nothing is overwritten", id="there"),
        pytest.param(["--write-limits", "vent.xls"], "ends with neither .csv nor .toml; name it such as", id="ending"),
        pytest.param(["--write-limits", "no/vent.csv"], "cannot be written .No such file", id="folder"),
    ],
)
def test_what_cannot_be_written_is_said(folder, arguments, said):
    """Nothing that a person wrote is replaced."""
    before = (folder / "limits" / "vent.toml").read_bytes()
    with pytest.raises(SetupError, match=said):
        write(*arguments)
    assert (folder / "limits" / "vent.toml").read_bytes() == before


def test_limits_to_be_written_are_those_of_one_board(folder):
    """Without a fixture there is no one board whose limits are meant."""
    with pytest.raises(SetupError, match="--write-limits needs the fixture of one board"):
        program.main(["check", "--bench", "simulated", "--write-limits", "vent.csv"], standalone_mode=False)
