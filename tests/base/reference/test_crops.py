"""Crops: each figure within its own range, each name one crop."""

from __future__ import annotations

import pytest

from lossmap.base.errors import NoReference
from lossmap.base.reference import Crop, crop, crops
from lossmap.base.reference.rows import rows_of
from lossmap.base.units import factor


@pytest.mark.parametrize("row", crops().values(), ids=crops())
def test_a_crop_is_within_its_own_range(row: Crop) -> None:
    """Seed mass and ear lie between their ends, moisture is a market's, and each figure has a key."""
    for range_ in (row.seed_mass_g, row.ear_grain_g):
        if range_ is not None:
            assert 0 < range_.low < range_.mean < range_.high
    assert 8 <= row.market_moisture_pct <= 20
    assert row.keys["seed"]
    assert row.keys["market"]
    assert row.keys["yield_most"]
    assert bool(row.keys["bushel"]) == (row.bushel_lb is not None)
    assert bool(row.keys["ear"]) == (row.ear_grain_g is not None)


# Printed "seeds on a square foot that are 1 bu/ac" (shared/worked/agronomy.json and its sources): least and most met in handbooks.
RULES = {
    "corn": (1.7, 2.5),
    "soybean": (3.0, 5.0),
    "wheat": (16.0, 23.0),
    "barley": (13.0, 15.0),
    "oats": (10.0, 12.0),
    "rye": (21.0, 24.0),
    "rice": (19.2, 20.3),
    "sorghum": (15.4, 23.1),
    "canola": (104.0, 174.0),
}


@pytest.mark.parametrize("name", RULES)
def test_seed_mass_spans_what_handbooks_print(name: str) -> None:
    """The range of seed mass is the range of the printed rules, to 3 %, and the middle lies within."""
    row = crop(name)
    assert row.bushel_lb is not None
    of_one = factor("bu/ac", "kg/ha", row.bushel_lb) * 100 * factor("1/m2", "1/ft2")  # g of a thousand, at one seed a square foot
    least, most = RULES[name]
    assert least <= of_one / row.seed_mass_g.mean <= most
    assert of_one / row.seed_mass_g.high == pytest.approx(least, rel=0.03)
    assert of_one / row.seed_mass_g.low == pytest.approx(most, rel=0.03)


@pytest.mark.parametrize(("said", "name"), [("Corn", "corn"), ("maize", "corn"), (" grain-sorghum ", "sorghum"), ("Rough rice", "rice")])
def test_crops_by_other_names(said: str, name: str) -> None:
    """By-names, capitals, blanks and hyphens lead to the crop."""
    assert crop(said).name == name


def test_no_by_name_is_two_crops() -> None:
    """By-names differ from each other and from every crop's own name."""
    names = [name for row in rows_of("crops.csv") for name in (row["crop"], *row["also"].split())]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("said", "end"),
    [("soybaen", "did you mean soybean?"), ("zzz", f"known: {', '.join(sorted(crops()))}")],
)
def test_an_unknown_crop_is_refused(said: str, end: str) -> None:
    """Named as typed, with the nearest or all that are known."""
    with pytest.raises(NoReference) as refusal:
        crop(said)
    assert str(refusal.value) == f'"{said}" is not in the crop table; {end}'
