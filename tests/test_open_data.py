"""Real logs through the command, with counts simulated on their own pass lines (no open set of loss counts exists)."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest

from lossmap.base.settings import Settings
from lossmap.clean import clean
from lossmap.pipelines.command import main
from lossmap.project import project, utm_crs
from lossmap.read import read_field, read_points

BU_AC_CORN = 62.76766474688954


def simulated_counts(folder: Path, stops: int, mean_per_frame: float, rng_seed: int) -> None:
    """Write counts.csv: seeds in four frames of 1 ft2 at three positions, clumped, at places the log passed (simulated)."""
    log = read_points(read_field(folder)).table
    places = project(log, utm_crs(log)).geometry
    rng = np.random.default_rng(rng_seed)
    x, y = places.x.to_numpy(), places.y.to_numpy()
    inner = np.flatnonzero((np.abs(x - np.median(x)) < 1000) & (np.abs(y - np.median(y)) < 1500))
    chosen = rng.choice(inner, stops, replace=False)
    lonlat = log.geometry.to_crs("EPSG:4326").iloc[chosen]
    lines = ["stop,longitude,latitude,position,seeds,frame_ft2,frames,note"]
    for number, place in enumerate(lonlat):
        lying = 0.0
        for position, share in (("before_header", 0.1), ("behind_header", 0.75), ("behind_combine", 0.15)):
            lying += share * mean_per_frame * 4
            seeds = rng.negative_binomial(12, 12 / (12 + lying))
            lines.append(f"{number + 1},{place.x:.7f},{place.y:.7f},{position},{seeds},1,4,simulated")
    (folder / "counts.csv").write_text("\n".join(lines) + "\n")


def mapped(folder: Path, source: Path, facts: str, out: Path, capsys: pytest.CaptureFixture[str]) -> dict:
    """Map one open log with simulated counts through the command; its summary."""
    folder.mkdir()
    shutil.copy(source, folder / source.name)
    (folder / "field.toml").write_text(facts)
    simulated_counts(folder, 24, 4.0, 7)
    (folder / "field.toml").write_text(facts + '\n[[counts]]\npath = "counts.csv"\n')
    assert main(["map", str(folder), "--out", str(out), "--json", "--quiet"]) == 0
    return json.loads(capsys.readouterr().out)


MAIZE = """\
name = "Open maize log, simulated counts"
crop = "corn"
header_width = "360 in"
[[points]]
path = "gartner.corn.txt"
[points.columns]
mass_flow = { column = "mass", unit = "lb/s" }
interval = { column = "seconds", unit = "s" }
distance = { column = "dist", unit = "in" }
moisture = { column = "moist", unit = "%" }
elevation = { column = "elev", unit = "ft" }
"""


def test_the_open_maize_log_maps_with_five_lines(open_data, tmp_path, capsys):
    """133.455 mean and 136.640 median bu/ac before cleaning, 7-13 % of 4,949 flagged, 136.9-137.6 after; all files written."""
    summary = mapped(tmp_path / "maize", open_data("gartner-corn/gartner.corn.txt"), MAIZE, tmp_path / "out", capsys)
    points = summary["points"]
    assert points["yield_before"]["mean"] / BU_AC_CORN == pytest.approx(133.455, abs=0.001)
    assert points["yield_before"]["median"] / BU_AC_CORN == pytest.approx(136.640, abs=0.001)
    assert points["read"] == 4949
    assert 0.07 <= 1 - points["kept"] / 4949 <= 0.13
    assert 136.9 <= points["yield_after"]["median"] / BU_AC_CORN <= 137.6
    assert summary["loss"]["total"]["low_kg_ha"] < summary["loss"]["total"]["mean_kg_ha"] < summary["loss"]["total"]["high_kg_ha"]
    assert summary["area_ha"] == pytest.approx(65.74 * 0.4047, rel=0.04)
    table = gpd.read_parquet(tmp_path / "out" / "maize" / "points.parquet")
    assert len(table) == 4949


WHEAT_2016 = """\
name = "Open wheat log 2016, simulated counts"
crop = "wheat"
header_width = "420 in"
[[points]]
path = "FarmerI_YE_YLD_2016_henrys.zip"
[points.columns]
yield = { column = "yield", unit = "bu/ac" }
mass_flow = { column = "flw_lbs", unit = "lb/s" }
moisture = { column = "moistur", unit = "%" }
width = { column = "swth_w_", unit = "in" }
distance = { column = "dist_in", unit = "in" }
heading = { column = "hdng_dg", unit = "deg" }
"""

WHEAT_2018 = """\
name = "Open wheat log 2018, simulated counts"
crop = "wheat"
header_width = "39 ft"
[[points]]
path = "FarmerI_YL18_YLD_2018_henrys.zip"
[points.columns]
record = "gid"
mass_flow = { column = "crp_flw_m", unit = "lb/s" }
yield = { column = "yld_vl_d", unit = "bu/ac" }
moisture = { column = "mostr__", unit = "%" }
speed = { column = "spd_mp_", unit = "mph" }
distance = { column = "dstnc_f", unit = "ft" }
interval = { column = "durtn_s", unit = "s" }
width = { column = "swth_w_", unit = "ft" }
work = "wrk_stt"
"""

OATS_2017 = """\
name = "Open oats log 2017, simulated counts"
crop = "oats"
header_width = "24 ft"
[[points]]
path = "FarmerC_yld_millview_2017.parquet"
[points.columns]
yield = { column = "VRYIELDVOL", unit = "bu/ac" }
width = { column = "SWATHWIDTH", unit = "ft" }
distance = { column = "DISTANCE", unit = "ft" }
"""


@pytest.mark.parametrize(
    ("file", "facts", "read", "flagged", "lacks"),
    [
        ("FarmerI_YE_YLD_2016_henrys.zip", WHEAT_2016, 21_551, (0.07, 0.13), "has no time"),
        ("FarmerI_YL18_YLD_2018_henrys.zip", WHEAT_2018, 31_276, (0.06, 0.12), "time holds only a date"),
        ("FarmerC_yld_millview_2017.parquet", OATS_2017, 24_612, (0.07, 0.13), "has no mass flow"),
    ],
)
def test_open_wheat_and_oats_logs_map_and_say_what_they_lack(open_data, tmp_path, capsys, file, facts, read, flagged, lacks):
    """Each maps; the share flagged is near the one measured for it; what it lacks is said, not guessed."""
    summary = mapped(tmp_path / "field", open_data(f"montana-grain/{file}"), facts, tmp_path / "out", capsys)
    readings = summary["points"]["read"] - summary["points"]["flags"].get("section row", 0)
    assert readings == read
    assert flagged[0] <= 1 - summary["points"]["kept"] / readings <= flagged[1]
    assert any(lacks in note for note in summary["notes"])


def test_wheat_rows_out_of_order_are_not_guessed_at(open_data, tmp_path, capsys):
    """Without the running number the 2018 rows have no order: the map is made, and the steps left out are named."""
    facts = WHEAT_2018.replace('record = "gid"\n', "")
    summary = mapped(tmp_path / "field", open_data("montana-grain/FarmerI_YL18_YLD_2018_henrys.zip"), facts, tmp_path / "out", capsys)
    assert any("lost the order of harvest" in note for note in summary["notes"])
    assert "pass end" not in summary["points"]["flags"]


@pytest.mark.parametrize(
    ("file", "facts"), [("FarmerI_YE_YLD_2016_henrys.zip", WHEAT_2016), ("FarmerI_YL18_YLD_2018_henrys.zip", WHEAT_2018)]
)
def test_real_trial_strips_keep_their_contrast(open_data, tmp_path, file, facts):
    """Cleaning leaves at least 95 % of the differences between stretches of passes (nitrogen strips lie in these fields)."""
    folder = tmp_path / "field"
    folder.mkdir()
    shutil.copy(open_data(f"montana-grain/{file}"), folder / file)
    (folder / "field.toml").write_text(facts)
    field = read_field(folder)
    log = read_points(field).table
    table, _ = clean(project(log, utm_crs(log)), field, Settings().clean)
    # before: everything but records that did not cut, lie wrong or stand in a ramp; after: the believed ones
    cutting = table["flag"].isin(
        ["", "unlike the field", "unlike its neighbours", "beyond crop limits", "speed change", "swath already cut"]
    )
    north = (table.geometry.y // 60).astype("int64")
    before = table[cutting].groupby([table["pass_id"], north])["yield_kg_ha"].agg(["median", "size"])
    after = table[table["flag"] == ""].groupby([table["pass_id"], north])["yield_kg_ha"].median()
    both = before[before["size"] >= 10].join(after.rename("after"), how="inner").dropna()
    assert len(both) > 0.9 * (before["size"] >= 10).sum()
    contrast = np.polyfit(both["median"], both["after"], 1)[0]
    assert contrast >= 0.95
    assert both["after"].std() >= 0.95 * both["median"].clip(*both["median"].quantile([0.01, 0.99])).std()
