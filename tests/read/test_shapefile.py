from __future__ import annotations

import zipfile

import geopandas as gpd
import pytest
import shapely

from lossmap.base.errors import ReadError
from lossmap.read.shapefile import refuse_parts, zipped_shapefile


@pytest.fixture
def shapefile(tmp_path):
    """A sound Shapefile of two points, as its path."""
    gpd.GeoDataFrame({"a": [1, 2]}, geometry=shapely.points([0, 1], [0, 1]), crs="EPSG:4326").to_file(tmp_path / "log.shp")
    return tmp_path / "log.shp"


def zipped(path, *files):
    """Files in a zip."""
    with zipfile.ZipFile(path, "w") as out:
        for file in files:
            out.write(file, file.name)
    return path


def test_a_whole_one_passes(shapefile, tmp_path):
    """Beside one another and in a zip; in a zip GDAL is given the very file, not whatever it finds."""
    refuse_parts(shapefile, "log.shp")
    path = zipped(tmp_path / "log.zip", *tmp_path.glob("log.*"))
    assert zipped_shapefile(path, "log.zip") == f"/vsizip/{{{path}}}/log.shp"


def test_missing_parts_are_named(shapefile, tmp_path):
    """What GDAL would make do without is asked for."""
    (tmp_path / "log.shx").unlink()
    with pytest.raises(ReadError, match=r"^log\.shp: lacks its \.shx; copy all files of the Shapefile"):
        refuse_parts(shapefile, "log.shp")
    with pytest.raises(ReadError, match=r"^log\.zip: lacks its \.shx and \.dbf; copy all files"):
        zipped_shapefile(zipped(tmp_path / "log.zip", shapefile), "log.zip")


@pytest.mark.parametrize("ending", [".shp", ".dbf"])
def test_a_part_that_is_shorter_than_it_says_is_cut_off(shapefile, tmp_path, ending):
    """GDAL would fill up what is missing with nothing, record by record."""
    part = shapefile.with_suffix(ending)
    whole = part.read_bytes()
    part.write_bytes(whole[:-20])
    with pytest.raises(ReadError, match=rf"log\{ending} is cut off \({len(whole) - 20:,} of "):
        refuse_parts(shapefile, "log.shp")


def test_a_part_that_is_a_link_out_of_the_folder(shapefile, tmp_path):
    """The table of somebody else's Shapefile is not read."""
    folder = tmp_path / "creek"
    folder.mkdir()
    for part in tmp_path.glob("log.*"):
        (folder / part.name).write_bytes(part.read_bytes())
    (folder / "log.dbf").unlink()
    (folder / "log.dbf").symlink_to(tmp_path / "log.dbf")
    with pytest.raises(ReadError, match=r"^log\.shp: log\.dbf beside it is a link out of the folder; copy the file itself$"):
        refuse_parts(folder / "log.shp", "log.shp")


def test_what_only_bears_the_name(tmp_path, shapefile):
    """A text called .shp is none; a zip without one says so."""
    shapefile.write_bytes(b"<OGRVRTDataSource>" * 20)
    with pytest.raises(ReadError, match="log.shp is no Shapefile"):
        refuse_parts(shapefile, "log.shp")
    (tmp_path / "read me.txt").write_text("x")
    with pytest.raises(ReadError, match=r"^x\.zip: holds no Shapefile and no TASKDATA\.XML; unpack it, or export it again$"):
        zipped_shapefile(zipped(tmp_path / "x.zip", tmp_path / "read me.txt"), "x.zip")
