"""A fixture as values: the point of the input, and every use of a scanner channel."""

from __future__ import annotations

from batchtest.files.fixture import input_point, scanner_uses

from .conftest import Project


def test_the_input_point_lies_across_the_terminals_of_the_power(project: Project) -> None:
    """The point of the feed is found by its terminals, whatever its name."""
    project.replace("fixtures/nest.toml", "[points.feed]", "[points.anything]")
    project.replace("limits/lamp.toml", "[rails.feed]", "[rails.anything]")
    assert input_point(project.load().fixture) == "anything"


def test_every_scanner_channel_is_known_with_its_key(project: Project) -> None:
    """Discharge, points and both contacts of each point are channels that must not be mixed up."""
    uses = {key: channel for key, channel, _ in scanner_uses(project.load().fixture)}
    assert uses["discharge", "scanner"] == 31
    assert [uses["points", "rail", *rest] for rest in (("scanner",), ("contact", 0), ("contact", 1))] == [2, 12, 22]
    assert len(uses) == 1 + 3 * 3


def test_points_that_share_a_terminal_share_its_contact_channel(project: Project) -> None:
    """One second needle on a common minus serves all points there."""
    fixture = project.load().fixture
    assert fixture.points["feed"].contact[1] == fixture.points["id"].contact[1] == 21
