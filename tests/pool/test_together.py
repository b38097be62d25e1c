"""Laws of pooling: order, silence, files, and work that grows with the fields alone."""

from __future__ import annotations

import dataclasses
import json
import time
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
import shapely

from lossmap.base.estimates import Estimate
from lossmap.base.season import Pooled
from lossmap.base.settings import SeasonSettings
from lossmap.pool import pool
from lossmap.read import read_evidence

USUAL = SeasonSettings()


@pytest.fixture(scope="module")
def fields(made_season):
    """Twelve fields with two headers and two crops."""
    made = made_season(np.random.default_rng(1), 12, 0.8, 0.3, 0.5).fields
    for number, one in enumerate(made):
        one.factors["header"] = "ab"[number % 2]
    return [dataclasses.replace(one, crop="corn" if number > 7 else "soybean") for number, one in enumerate(made)]


def figures(value):
    """Every number and text of a result, in order."""
    if dataclasses.is_dataclass(value):
        return [part for name in value.__dataclass_fields__ for part in figures(getattr(value, name))]
    if isinstance(value, Mapping):
        return [part for key in value for part in (key, *figures(value[key]))]
    if isinstance(value, (tuple, list)):
        return [part for one in value for part in figures(one)]
    return [value]


def assert_alike(one, other, rel=1e-9):
    """Two results say the same."""
    for here, there in zip(figures(one), figures(other), strict=True):
        if isinstance(here, float):
            assert there == pytest.approx(here, rel=rel, abs=rel, nan_ok=True)
        else:
            assert there == here


def test_order_of_fields_does_not_matter(fields):
    """Turned round: the very same figures, in the same order."""
    assert_alike(pool(fields, USUAL), pool(fields[::-1], USUAL), rel=1e-15)


def test_a_field_that_says_nothing_changes_nothing(fields, made_field):
    """Neither one without a driver nor one whose posterior is its prior moves slope, spread or any other field's; the mean loss it does."""
    before = pool(fields, USUAL).drivers["speed"]
    silent = made_field("silent")
    prior = dataclasses.replace(fields[0].drivers["speed"], means=(0.0,), sds=(1.2,), expected_sd=1.2)
    for one in (silent, dataclasses.replace(silent, drivers={"speed": prior})):
        after = pool([*fields, one], USUAL).drivers["speed"]
        for name in ("slope", "between_sd", "chance", "effect"):
            assert_alike(getattr(before, name), getattr(after, name), rel=1e-6)
        for field_id, shrunken in before.shrunken.items():
            assert_alike(shrunken.slope, after.shrunken[field_id].slope, rel=1e-6)


def test_no_field_at_all_is_well_behaved():
    """Both drivers are there and say that nothing is known."""
    nothing = pool((), USUAL)
    assert nothing == Pooled(drivers=nothing.drivers)
    assert {name: driver.verdict for name, driver in nothing.drivers.items()} == dict.fromkeys(("speed", "dryness"), "not enough counts")
    assert not nothing.loss["total"]


def test_one_field_is_its_own_word(fields):
    """Its loss, its area, no comparison, and a note."""
    one = pool(fields[:1], USUAL)
    assert one.loss["total"].mean == pytest.approx(fields[0].loss["total"].mean)
    assert (one.fields, one.area_ha, one.contrasts) == (1, 20.0, ())
    assert one.drivers["speed"].note == "One field alone: this is its own counts' word."


def test_losses_by_crop(fields):
    """Each crop's fields alone, and all together by area."""
    found = pool(fields, USUAL)
    assert set(found.by_crop) == {"corn", "soybean"}
    assert found.by_crop["corn"]["total"].mean == pytest.approx(100.0)
    assert found.loss["total"].mean == pytest.approx(100.0)


def test_pooling_from_files_is_pooling_from_memory(fields, tmp_path):
    """Evidence written as a map writes it and read back: the same figures to five places."""
    back = []
    for one in fields:
        folder = tmp_path / one.field_id
        folder.mkdir()
        (folder / "evidence.json").write_text(json.dumps(as_written(one)), encoding="utf-8")
        back.append(read_evidence(Path(folder)))
    assert_alike(pool(fields, USUAL), pool(back, USUAL), rel=1e-4)


def as_written(one):
    """As `report` writes it: six figures a number."""

    def six(value):
        return [float(f"{part:.6g}") for part in value] if isinstance(value, tuple) else float(f"{value:.6g}")

    return {
        "field_id": one.field_id,
        "crop": one.crop,
        "area_ha": one.area_ha,
        "stops": one.stops,
        "mass_doubt": one.mass_doubt,
        "log_loss_sd": one.log_loss_sd,
        "loss": {source: {f"{end}_kg_ha": six(getattr(loss, end)) for end in ("mean", "low", "high")} for source, loss in one.loss.items()},
        "drivers": {name: {key: six(value) for key, value in vars(driver).items()} for name, driver in one.drivers.items()},
        "factors": dict(one.factors),
        "outline": shapely.geometry.mapping(shapely.box(-93.6, 41.9, -93.5, 42.0)),
    }


def test_work_grows_with_the_fields_alone(made_season):
    """Four times the fields: at most six times the processor's seconds."""
    seconds = []
    for number in (300, 1200):
        made = made_season(np.random.default_rng(2), number, 0.8, 0.3, 0.5).fields
        best = np.inf
        for _ in range(2):
            began = time.process_time()
            pool(made, USUAL)
            best = min(best, time.process_time() - began)
        seconds.append(best)
    assert seconds[1] <= 6 * seconds[0]


def test_cautions_stand_where_a_link_is_told(fields, made_field):
    """A link is said to be none of cause; fields that say nothing are counted."""
    notes = pool([*fields, dataclasses.replace(made_field("silent"), loss={})], USUAL).notes
    assert any("whatever goes along with ground speed in all fields is not told from it" in note for note in notes)
    assert "1 field of 13 tells no loss, and counts in no mean of it" in notes
    assert "1 field of 13 tells nothing of ground speed, and changes nothing there" in notes


def test_a_loss_that_is_not_known_is_no_loss(fields):
    """An estimate of NaN counts nowhere."""
    nan = float("nan")
    unknown = dataclasses.replace(fields[0], field_id="z", loss={"total": Estimate(nan, nan, nan)})
    assert_alike(pool(fields, USUAL).loss["total"], pool([*fields, unknown], USUAL).loss["total"])
