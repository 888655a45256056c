"""What a machine must have for USB and GPIB: named, and shipped where it can be."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from batchtest.bench.access import UDEV_RULES, needs

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("address", "message"),
    [
        pytest.param("USB0::0x1234::0x5678::MY001::INSTR", re.escape(str(UDEV_RULES)), id="usb"),
        pytest.param("GPIB0::22::INSTR", 'visa = "@ivi"', id="gpib"),
        pytest.param("TCPIP0::127.0.0.1::5025::SOCKET", "^$", id="nothing"),
        pytest.param("nonsense", "^$", id="no-address"),
    ],
)
def test_what_an_address_needs_is_told(address: str, message: str) -> None:
    """The package to install, and the file to copy."""
    assert re.search(message, needs(address))


def test_the_rules_are_shipped() -> None:
    """They are package data, and not only in the source tree."""
    data = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["package-data"]["batchtest"]
    assert any(UDEV_RULES.relative_to(ROOT / "batchtest").match(pattern) for pattern in data)


@pytest.mark.parametrize("subject", ['SUBSYSTEM=="tty"', 'SUBSYSTEM=="usb"', 'SUBSYSTEM=="usbmisc"'])
def test_each_rule_lets_a_group_in_and_nobody_else(subject: str) -> None:
    """And modem programs keep off whatever they could probe."""
    rules = [line for line in UDEV_RULES.read_text().splitlines() if line and not line.startswith("#")]
    (rule,) = [line for line in rules if subject in line]
    assert re.search(r'MODE="0660", GROUP="(dialout|plugdev)"', rule)
    assert 'ENV{ID_MM_DEVICE_IGNORE}="1"' in rule or "usbtmc" in rule
    assert len(rules) == 3
