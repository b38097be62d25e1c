"""Headers and machines compared: planted ratios are found, none is told by chance, and each comparison counts once."""

from __future__ import annotations

import numpy as np
import pytest

from lossmap.base.settings import SeasonSettings
from lossmap.pool.levels import contrasts, entangled

USUAL = SeasonSettings()


def fields_of(rng, made_field, number, ratio=1.0, between=0.3, **facts):
    """Fields in turns with header a and b, the loss at b's times `ratio`; `facts` make further factors of a field's number."""
    made = []
    for one in range(number):
        header = float(80 * np.exp(rng.normal(0, between)) * (ratio if one % 2 else 1.0))
        more = {factor: of(one) for factor, of in facts.items()}
        made.append(made_field(f"f{one:03d}", header + 20, header=header, header_name="ab"[one % 2], **more))
    return [_with_header(one) for one in made]


def _with_header(field):
    """The header's name in its place: `header=` is its loss."""
    field.factors["header"] = field.factors.pop("header_name")
    return field


def test_a_planted_ratio_is_found_and_held(made_field):
    """A header that loses 0.6 of the other's, 30 fields each: told at the header, within its interval, worth what it is."""
    found = contrasts(fields_of(np.random.default_rng(1), made_field, 60, 0.6, 0.25), USUAL)
    of = {(one.level, one.source): one for one in found}
    assert set(of) == {(level, source) for level in "ab" for source in ("header", "total")}
    better = of["b", "header"]
    assert better.told
    assert better.ratio.low <= 0.6 <= better.ratio.high < 1
    assert better.worth_kg_ha.mean == pytest.approx(80 * np.exp(0.25**2 / 2) * (better.ratio.mean - 1), rel=0.1)
    assert better.chance < 0.01
    assert (better.fields, better.others) == (30, 30)


def test_a_mirror_is_one_question(made_field):
    """Two levels: the second row is the first turned round, and both count once."""
    found = contrasts(fields_of(np.random.default_rng(2), made_field, 20, 0.7), USUAL)
    one, other = (next(row for row in found if row.level == level and row.source == "total") for level in "ab")
    assert one.ratio.mean == pytest.approx(1 / other.ratio.mean)
    assert (one.ratio.low, one.ratio.high) == pytest.approx((1 / other.ratio.high, 1 / other.ratio.low))
    assert one.told == other.told


def test_more_comparisons_widen_each(made_field):
    """The same headers among seven varieties: a wider interval."""
    few = contrasts(fields_of(np.random.default_rng(3), made_field, 56, 0.7), USUAL)
    many = contrasts(fields_of(np.random.default_rng(3), made_field, 56, 0.7, variety=lambda n: f"v{n % 7}"), USUAL)
    widths = [
        next(np.log(one.ratio.high / one.ratio.low) for one in rows if (one.factor, one.source) == ("header", "header"))
        for rows in (few, many)
    ]
    assert widths[1] > 1.2 * widths[0]


def test_chance_tells_nothing(made_field):
    """Five machines, four varieties and two headers without any difference: anything told in at most 7 % of 120 seasons of 24 fields."""
    rng = np.random.default_rng(4)
    told = []
    for _ in range(120):
        machines, varieties = rng.integers(5, size=24), rng.integers(4, size=24)
        made = fields_of(rng, made_field, 24, machine=lambda n, of=machines: f"m{of[n]}", variety=lambda n, of=varieties: f"v{of[n]}")
        told.append(any(one.told for one in contrasts(made, USUAL)))
    assert np.mean(told) <= 0.07


def test_what_is_told_has_no_even_in_its_interval(made_field):
    """Whatever the number of comparisons."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        varieties = rng.integers(3, size=30)
        made = fields_of(rng, made_field, 30, 0.55, variety=lambda n, of=varieties: f"v{of[n]}")
        for one in contrasts(made, USUAL):
            assert not one.told or one.ratio.high < 1 or one.ratio.low > 1


def test_too_few_fields_are_not_compared(made_field):
    """One field of a level, or levels that share no crop: no ratio, not told, and no part of the count."""
    made = fields_of(np.random.default_rng(6), made_field, 8)
    for one in made:
        one.factors["operator"] = "kim" if one.field_id == "f000" else "lou"
    found = [one for one in contrasts(made, USUAL) if one.factor == "operator"]
    assert found
    assert not any(one.ratio or one.told for one in found)
    other_crop = [made_field(f"g{n}", crop="corn", machine="red") for n in range(5)] + [
        made_field(f"h{n}", machine="blue") for n in range(5)
    ]
    assert not any(one.ratio for one in contrasts(other_crop, USUAL))


def test_fields_that_say_nothing_are_in_no_comparison(made_field):
    """A field without the factor stands on neither side; a level alone is no comparison."""
    made = [made_field(f"f{n}", machine="red") for n in range(4)] + [made_field(f"g{n}") for n in range(4)]
    assert contrasts(made, USUAL) == ()


def test_threshing_is_compared_for_those_who_set_the_machine(made_field):
    """Machines and operators by header, threshing and total; a variety not by threshing."""
    made = [
        made_field(f"f{n}", header=60.0, threshing=30.0, machine=f"m{n % 2}", operator=f"o{n // 2 % 2}", variety=f"v{n % 3}")
        for n in range(12)
    ]
    sources = {}
    for one in contrasts(made, USUAL):
        sources.setdefault(one.factor, set()).add(one.source)
    assert sources == {
        "machine": {"header", "threshing", "total"},
        "operator": {"header", "threshing", "total"},
        "variety": {"header", "total"},
    }


def test_levels_on_the_same_fields_are_named(made_field):
    """A header that always ran on one machine: nobody can tell which of them it is, and a note says so."""
    made = fields_of(np.random.default_rng(7), made_field, 40, 0.5, machine=lambda n: ("red", "blue")[n % 2])
    found = contrasts(made, USUAL)
    assert any(one.told for one in found)
    notes = entangled(made, found)
    assert "header a and machine red stand on the same fields: which of them the loss goes with cannot be told" in notes
