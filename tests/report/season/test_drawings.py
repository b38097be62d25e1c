"""How loss rises beyond the reference, drawn."""

from __future__ import annotations

import dataclasses
import re

from lossmap.base.season import PooledCurve
from lossmap.report.season.drawings import MOST_LINES, drawing_of_pooled
from lossmap.report.season.words import common_words
from report.made_seasons import made_season

SEASON = made_season(14, 0, ("corn",))
SPEED, CURVE = SEASON.pooled.drivers["speed"], SEASON.pooled.curves["speed"]


def thin(drawn):
    """Thin lines in a drawing, by their look."""
    return len(re.findall(r"stroke: #5b5446; stroke-opacity: 0.75", drawn.svg))


def test_every_field_is_a_thin_line_and_the_mean_a_thick_one():
    """As many lines as fields, one band, one thick line; the caption gives the mean's end in numbers."""
    drawn = drawing_of_pooled(SPEED, CURVE, common_words(SEASON))
    assert thin(drawn) == 14
    assert drawn.svg.count("stroke: #0b4f6c") == 1
    assert drawn.svg.count("fill: #c4dbe4") == 1
    # 1.2 m/s is 2.7 mph; exp(0.55 1.2), exp(0.3 1.2), exp(0.8 1.2)
    assert "1.93 times (1.43 to 2.61) at 2.7 mph above it." in drawn.caption
    assert "each of 14 fields" in drawn.caption
    assert 'role="img"' in drawn.svg
    assert drawing_of_pooled(SPEED, CURVE, common_words(SEASON)).svg == drawn.svg


def test_hundreds_of_fields_are_no_grey_mass():
    """At most so many lines, the flattest and the steepest among them."""
    fields = {f"f{number}": tuple(1 + number * 0.001 * at for at in CURVE.beyond) for number in range(500)}
    drawn = drawing_of_pooled(SPEED, dataclasses.replace(CURVE, fields=fields), common_words(SEASON))
    assert thin(drawn) == MOST_LINES
    assert f"{MOST_LINES} of 500 fields" in drawn.caption


def test_dryness_is_drawn_below_its_reference():
    """Points of moisture, in metric too."""
    dry = dataclasses.replace(SPEED, name="dryness", effect_step="-2 points")
    metric = made_season(14, 0, ("corn",), units="metric", price="170 USD/t")
    drawn = drawing_of_pooled(dry, CURVE, common_words(metric))
    assert "at 1.2 points below it" in drawn.caption
    assert "moisture below each field" in drawn.svg
    assert "km/h above it" in drawing_of_pooled(SPEED, CURVE, common_words(metric)).caption


def test_no_curve_is_no_drawing():
    """Nothing known, nothing drawn; a mean without fields is drawn alone."""
    assert drawing_of_pooled(SPEED, PooledCurve(), common_words(SEASON)) is None
    alone = drawing_of_pooled(SPEED, dataclasses.replace(CURVE, fields={}), common_words(SEASON))
    assert thin(alone) == 0
    assert "Thin" not in alone.caption
