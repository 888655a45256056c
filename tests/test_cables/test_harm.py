"""The cable to challenge a bench with: the one that would do the most harm."""

from __future__ import annotations

from dataclasses import replace

import pytest

from batchtest.cables.harm import most_harmful
from test_cables.bench_views import library


def test_the_accidents_cable_is_the_most_harmful_for_the_vent():
    """It burns the cabinet's accessory resistor; the long lead burns nothing."""
    assert most_harmful(library(), "vent-lead", "vent") == "mist-lead"


def test_where_nothing_burns_more_astray_is_more_harm():
    """For the mist both others burn nothing; the long lead, whatever its name, leads more astray than the vent's."""
    demo = library()
    names = {"a-lead": "vent-lead", "mist-lead": "mist-lead", "z-lead": "long-lead"}
    cables = {name: demo.cables[known] for name, known in names.items()}
    assert most_harmful(replace(demo, cables=cables), "mist-lead", "mist") == "z-lead"


def test_among_equals_the_first_by_name_is_taken():
    """Whatever the order in the library: a cable that is plugged into no host can be judged by its name alone."""
    demo = library()
    bare = demo.cables["vent-lead"].model_copy(update={"hosts": ()})
    cables = {"z-lead": demo.cables["long-lead"], "vent-lead": bare, "a-lead": demo.cables["mist-lead"]}
    assert most_harmful(replace(demo, cables=cables), "vent-lead", "vent") == "a-lead"


def test_alone_there_is_nothing_to_challenge_with():
    """A library of one cable has no wrong one."""
    alone = replace(library(), cables={"vent-lead": library().cables["vent-lead"]})
    with pytest.raises(ValueError, match="empty"):
        most_harmful(alone, "vent-lead", "vent")
