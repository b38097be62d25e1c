"""A damaged file of evidence is one clear refusal; a whole one is read as it stands."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from lossmap.base.errors import ReadError
from lossmap.base.estimates import Estimate
from lossmap.read import read_evidence

WHOLE: dict[str, Any] = {
    "lossmap": "0.1.0",
    "field_id": "made-field",
    "crop": "soybean",
    "area_ha": 20.5,
    "stops": 12,
    "mass_doubt": 0.02,
    "log_loss_sd": 0.6,
    "loss": {"total": {"mean_kg_ha": 100.0, "low_kg_ha": 80.0, "high_kg_ha": 130.0}},
    "drivers": {
        "speed": {
            "weights": [0.25, 0.75],
            "means": [0.1, 0.4],
            "sds": [0.3, 0.5],
            "prior_sd": 1.2,
            "expected_sd": 0.4,
            "reference": 1.8,
            "mean": 1.9,
            "beyond": [0.0, 0.3],
        }
    },
    "factors": {"header": "draper"},
    "outline": {"type": "Polygon", "coordinates": [[[-93.6, 41.9], [-93.5, 41.9], [-93.5, 42.0], [-93.6, 41.9]]]},
}


def written(folder: Path, content: Any) -> Path:
    """A folder of results called made-field with this file in it."""
    place = folder / "made-field"
    place.mkdir()
    (place / "evidence.json").write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    return place


def changed(where: tuple[Any, ...], value: Any) -> dict[str, Any]:
    """The whole file with one value another."""
    content = copy.deepcopy(WHOLE)
    inner = content
    for key in where[:-1]:
        inner = inner[key]
    inner[where[-1]] = value
    return content


def test_a_whole_file_is_read(tmp_path: Path) -> None:
    """By its folder and by its own name, keys of a later version aside."""
    place = written(tmp_path, WHOLE | {"later": 1})
    found = read_evidence(place)
    assert found == read_evidence(place / "evidence.json")
    assert found.loss == {"total": Estimate(100.0, 80.0, 130.0)}
    assert found.drivers["speed"].means == (0.1, 0.4)
    assert (found.mass_doubt, found.log_loss_sd) == (0.02, 0.6)
    assert (found.field_id, found.factors) == ("made-field", {"header": "draper"})
    assert found.outline.bounds == (-93.6, 41.9, -93.5, 42.0)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{", "made-field/evidence.json: is not JSON (Expecting property name"),
        ("[]", "made-field/evidence.json: holds list, not a table"),
        ("[" * 100_000, "made-field/evidence.json: is not JSON (maximum recursion depth"),
        ({"crop": "corn"}, "made-field/evidence.json: field_id: is missing; add it"),
        (changed(("area_ha",), -1), "made-field/evidence.json: area_ha: must be above 0"),
        (changed(("stops",), "many"), "made-field/evidence.json: stops: must be a whole number (is 'many')"),
        (
            changed(("loss", "total", "low_kg_ha"), 200.0),
            "made-field/evidence.json: loss.total: low 200 is above high 130",
        ),
        (
            changed(("loss", "total", "mean_kg_ha"), None),
            "made-field/evidence.json: loss.total.mean_kg_ha: must be a valid number (is None)",
        ),
        (changed(("drivers", "speed", "weights"), [0.25, 0.5]), "made-field/evidence.json: drivers.speed: weights add to 0.75, not to 1"),
        (
            changed(("drivers", "speed", "means"), [0.1]),
            "made-field/evidence.json: drivers.speed: 2 weights, 1 means and 2 sds are not one mixture",
        ),
        (
            changed(("drivers", "speed", "sds"), [0.3, 0.0]),
            "made-field/evidence.json: drivers.speed.sds[2]: must be between 1e-08 and 10000",
        ),
        (changed(("drivers", "speed", "beyond"), [-0.1]), "made-field/evidence.json: drivers.speed.beyond[1]: must be between 0 and 1000"),
        (changed(("crop",), "kelp"), "made-field/evidence.json: crop: is none of corn, "),
        (changed(("loss", "total", "mean_kg_ha"), 0.0), "made-field/evidence.json: loss.total: mean 0 is far below low 80"),
        (changed(("loss", "total", "low_kg_ha"), 1e-35), "made-field/evidence.json: loss.total: low 1e-35 is nearer to nothing than"),
        (changed(("stops",), -(10**400)), "made-field/evidence.json: stops: must be at least 0"),
        (changed(("stops",), 10**400), "made-field/evidence.json: stops: must be a number of things counted"),
        (changed(("area_ha",), 10**400), "made-field/evidence.json: area_ha: must be "),
        (changed(("outline",), None), "made-field/evidence.json: outline: is no outline of a field"),
        (changed(("outline", "coordinates", 0, 1, 0), float("nan")), "made-field/evidence.json: outline: is no outline of a field (not on"),
        (changed(("outline", "coordinates", 0, 1, 0), -200.0), "made-field/evidence.json: outline: is no outline of a field (not on the"),
        (changed(("outline", "type"), "LineString"), "made-field/evidence.json: outline: is no outline of a field"),
        (changed(("outline", "coordinates"), []), "made-field/evidence.json: outline: is no outline of a field"),
        (changed(("drivers", "rain"), {}), "made-field/evidence.json: drivers.rain"),
        (changed(("factors", "colour"), "red"), "made-field/evidence.json: factors.colour"),
    ],
)
def test_a_damaged_file_is_refused(tmp_path: Path, content: Any, message: str) -> None:
    """Place, fault, and what to do about it."""
    with pytest.raises(ReadError) as refused:
        read_evidence(written(tmp_path, content))
    assert str(refused.value).startswith(message)
    assert str(refused.value).endswith("; map the field again")


def test_numbers_that_are_none_are_refused(tmp_path: Path) -> None:
    """NaN and infinity, which JSON of other programs may hold."""
    text = json.dumps(WHOLE).replace("20.5", "NaN").replace("1.2", "Infinity")
    with pytest.raises(ReadError, match="area_ha: must be"):
        read_evidence(written(tmp_path, text))


def test_all_faults_stand_in_one_message(tmp_path: Path) -> None:
    """One line each."""
    content = changed(("area_ha",), 0) | {"stops": -1}
    with pytest.raises(ReadError) as refused:
        read_evidence(written(tmp_path, content))
    assert len(str(refused.value).splitlines()) == 2


def test_no_file_is_a_refusal(tmp_path: Path) -> None:
    """A folder without one, a folder that is not there, a file of bytes that are no text, one that is too large."""
    with pytest.raises(ReadError, match=r"evidence.json: cannot be read \(No such file"):
        read_evidence(tmp_path)
    place = written(tmp_path, WHOLE)
    (place / "evidence.json").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ReadError, match="is not JSON"):
        read_evidence(place)
    (place / "evidence.json").write_bytes(b" " * 10_000_001)
    with pytest.raises(ReadError, match="is larger than 10 MB"):
        read_evidence(place)
