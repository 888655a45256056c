"""Who is at the bench: a name that ends up in records, which are opened with spreadsheets."""

from __future__ import annotations

import getpass

import pytest
from stations import ROOT

from batchtest.commands import program
from batchtest.commands.station import operator_of
from batchtest.errors import SetupError


def test_a_name_is_taken_as_it_is():
    """Nobody's name is changed; without one it is who is logged in."""
    assert operator_of("M. O'Neil-Söderholm") == "M. O'Neil-Söderholm"
    assert operator_of(None) == operator_of(" ") == getpass.getuser()


@pytest.mark.parametrize(
    "arguments",
    [
        pytest.param(["boards", "vent-nest", "--batch", "b", "--serials", "VN-0001"], id="boards"),
        pytest.param(["host", "cabinet-breakout", "--serial", "CB-001"], id="host"),
        pytest.param(["bench", "--challenge"], id="bench"),
    ],
)
def test_a_name_that_a_spreadsheet_would_run_is_refused(tmp_path, monkeypatch, arguments):
    """Before anything is opened or written, whatever the command."""
    monkeypatch.chdir(ROOT)
    wanted = [*arguments, "--bench", "simulated", "--operator", "=1+1", "--reports", str(tmp_path)]
    with pytest.raises(SetupError, match="--operator has '=' where a spreadsheet begins a formula"):
        program.main(wanted, standalone_mode=False)
    assert list(tmp_path.iterdir()) == []
