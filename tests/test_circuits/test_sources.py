"""Limited sources: three straight lines, exactly."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.circuits import OFF, Drive, LimitedSource, Solution, System, nominal_values
from batchtest.errors import SetupError

from .demo import small

OUT = LimitedSource("out", "host.a", "host.n0")


def into(ohms: float, drive: Drive) -> Solution:
    """A source into one resistor."""
    assembly = small(f"R1 a n0 {ohms!r}")
    return System(assembly, [OUT]).solve(nominal_values(assembly), {"out": drive})


@given(
    load_ohm=st.floats(1.5, 1e6),
    volts=st.floats(-30, 30),
    ohms=st.floats(1e-3, 1e3),
    lower=st.floats(-1, 0),
    upper=st.floats(0, 1),
)
def test_a_source_into_a_resistor_is_on_the_line_that_ohms_law_gives(load_ohm, volts, ohms, lower, upper):
    """Slope or limit, voltage and current are those of the closed form."""
    solution = into(load_ohm, Drive(volts, ohms, lower, upper))
    load_S = 1 / load_ohm + 1e-12
    free_A = volts / (ohms + 1 / load_S)
    expected_A = min(max(free_A, lower), upper)
    assert float(solution.source_A("out")[0]) == pytest.approx(expected_A, rel=1e-9, abs=1e-15)
    assert float(solution.voltage("host.a")[0]) == pytest.approx(expected_A / load_S, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize(
    ("drive", "expected_A"),
    [
        pytest.param(Drive(24, 0.02, 0, 0.5), 24 / 48.02, id="slope"),
        pytest.param(Drive(24, 0.02, 0, 0.1), 0.1, id="upper"),
        pytest.param(Drive(-24, 0.02, -0.2, 0.5), -0.2, id="lower"),
        pytest.param(OFF, 0.0, id="off"),
        pytest.param(Drive(24, 0.02, 0.3, 0.3), 0.3, id="fixed"),
    ],
)
def test_each_line(drive, expected_A):
    """On its slope, at either limit, fixed or off, a source delivers what it should into 48 ohm."""
    assert float(into(48.0, drive).source_A("out")[0]) == pytest.approx(expected_A, rel=1e-9, abs=0)


def test_a_load_takes_its_current_and_gives_up_only_near_zero_volts():
    """A sink draws 20 mA from 5 V behind 100 ohm, and from a weak node what its least resistance lets through."""
    assembly = small("V1 s n0 5\nR1 s a 100")
    system = System(assembly, [OUT])
    sink = Drive(0.0, 0.05, -0.02, 0.0)
    solution = system.solve(nominal_values(assembly), {"out": sink})
    assert float(solution.voltage("host.a")[0]) == pytest.approx(3.0)
    starved = system.solve(nominal_values(assembly), {"out": Drive(0.0, 0.05, -1.0, 0.0)})
    assert float(starved.source_A("out")[0]) == pytest.approx(-5 / 100.05)


def test_settings_may_differ_from_sample_to_sample():
    """An array of settings is taken sample by sample."""
    assembly = small("R1 a n0 100")
    values = np.repeat(nominal_values(assembly), 3, axis=0)
    drive = Drive(np.array([1.0, 2.0, 3.0]), 1e-3, -1.0, np.array([1.0, 1.0, 0.01]))
    solution = System(assembly, [OUT]).solve(values, {"out": drive})
    assert solution.voltage("host.a") == pytest.approx([1.0, 2.0, 1.0], rel=1e-4)


def test_a_source_that_is_not_driven_delivers_exactly_nothing():
    """Off is off: not a microampere, not a picoampere."""
    assembly = small("V1 s n0 5\nR1 s a 100")
    solution = System(assembly, [OUT]).solve(nominal_values(assembly), {})
    assert float(solution.source_A("out")[0]) == 0.0


@pytest.mark.parametrize(
    ("name", "drive", "message"),
    [
        pytest.param("ouut", OFF, r"no source 'ouut' in the system; did you mean 'out'\?", id="unknown"),
        pytest.param("out", Drive(1, 0, 0, 1), "needs ohms above 0", id="no-ohms"),
        pytest.param("out", Drive(1, 1, 1, 0), "lower_A not above upper_A", id="crossed"),
    ],
)
def test_a_setting_that_cannot_be_is_refused(name, drive, message):
    """A misspelt source or an impossible setting is named with its cure."""
    assembly = small("R1 a n0 100")
    with pytest.raises(SetupError, match=message):
        System(assembly, [OUT]).solve(nominal_values(assembly), {name: drive})
