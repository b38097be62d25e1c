"""Choices of a ranking: read like a map's, and figures replaced by name."""

from __future__ import annotations

import re
import tomllib

import pytest

from lossmap.base.errors import SettingsError
from lossmap.base.rank_settings import RankSettings
from lossmap.base.settings import as_toml, build


def test_what_is_printed_is_read():
    """The printed settings are the defaults."""
    assert build(RankSettings, tomllib.loads(as_toml(RankSettings, "rank")), "printed") == RankSettings()


def test_figures_are_replaced_by_name():
    """A figure of the reference table can be given anew."""
    settings = build(RankSettings, {"figures": {"corn": {"header_per_dry_point": 0.004}}}, "rank.toml")
    assert settings.figures["corn"]["header_per_dry_point"] == 0.004


@pytest.mark.parametrize(
    ("values", "message"),
    [
        (
            {"figures": {"corn": {"header_dry_point": 0.1}}},
            "rank.toml: figures: header_dry_point is no figure of corn; did you mean header_per_dry_point?",
        ),
        (
            {"figures": {"wheat": {"drying_rate": 0.1}}},
            "rank.toml: figures: no source says how wheat dries and what it loses while it waits; known: corn, soybean",
        ),
        ({"years": {"season": "5 d"}}, "rank.toml: years.season: must be 20 to 200 d (is 5 d)"),
        ({"moves": {"setup": 1}}, 'rank.toml: moves.setup: 1 is not a number with a unit; write for example "1 h"'),
    ],
)
def test_refusals(values, message):
    """Where, what, and what to do."""
    with pytest.raises(SettingsError, match=f"^{re.escape(message)}$"):
        build(RankSettings, values, "rank.toml")
