"""Groups of reasons."""

from __future__ import annotations

from lossmap.base.tables import FLAGS
from lossmap.report.flag_groups import GROUPS, group_of


def test_every_reason_has_one_group_but_section_rows() -> None:
    """A reason that cleaning may give is drawn, once; nothing else is."""
    grouped = [reason for group in GROUPS for reason in group.reasons]
    assert sorted(grouped) == sorted(set(FLAGS) - {"section row"})
    assert group_of("section row") is None
    assert group_of("pass end") == group_of("short pass") != group_of("speed change")


def test_groups_differ_in_shape_not_in_colour_alone() -> None:
    """On grey paper and for colour-blind eyes."""
    assert len({group.shape for group in GROUPS}) == len(GROUPS) == len({group.colour for group in GROUPS})
