"""The one manager of a bench."""

from __future__ import annotations

import pytest
import pyvisa

from batchtest.bench.visa import visa_manager
from batchtest.errors import SetupError


def test_each_bench_has_a_manager_of_its_own() -> None:
    """Closing one leaves another one's instruments open, under the same name too."""
    with visa_manager("try") as outer:
        with visa_manager("try") as inner:
            assert inner.session != outer.session
        assert outer.session
    with pytest.raises(pyvisa.errors.InvalidSession):
        outer.session  # noqa: B018


def test_a_system_visa_that_is_not_installed_is_told_with_the_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bench file asked for it, so that is what must be mended."""
    monkeypatch.setattr("pyvisa.ctwrapper.highlevel.find_library", lambda name: None)
    wrong = pytest.raises(SetupError, match=r'visa = "@ivi" wants .* none works here .* leave visa out')
    with wrong, visa_manager("try", "@ivi"):
        pytest.fail("it opened")


def test_a_system_visa_that_is_installed_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is asked for by its name, without a path of ours, and closed at the end."""
    asked: list[str] = []

    class Manager:
        def __init__(self, name: str) -> None:
            asked.append(name)

        def close(self) -> None:
            asked.append("closed")

    monkeypatch.setattr(pyvisa, "ResourceManager", Manager)
    with visa_manager("try", "@ivi"):
        assert asked == ["@ivi"]
    assert asked == ["@ivi", "closed"]
