from __future__ import annotations

import shutil

import numpy as np
import pandas as pd
import pytest
import shapely

from lossmap.base.errors import ReadError
from lossmap.base.tables import POINTS
from lossmap.read import fingerprints, read_boundary, read_field, read_points

FIELD = (
    '<PFD A="PFD-1" C="Made north"><PLN A="1"><LSG A="1"><PNT C="41.8999" D="-93.601"/><PNT C="41.8999" D="-93.599"/>'
    '<PNT C="41.901" D="-93.599"/><PNT C="41.901" D="-93.601"/></LSG></PLN></PFD>'
)


@pytest.fixture
def task_field(made, field_folder):
    """A made field (corn, 30 ft header) whose log is task data in its folder, by name of the part and further keys."""

    def write(keys="", facts="", name="td", **changed):
        folder = field_folder(points=None)
        made.write(folder / name, **changed)
        text = (folder / "field.toml").read_text()
        (folder / "field.toml").write_text(f'{facts}{text}\n[[points]]\npath = "{name}"\n{keys}\n')
        return read_field(folder)

    return write


def drive(made, moisture):
    """Ten records: 9,000 kg/ha wet, moisture as given (raw, None for no value)."""
    values = [{0: 900_000} if one is None else {0: 900_000, 1: one} for one in moisture]
    return b"".join(made.record(k, row, (419_000_000 + 135 * k, -936_000_000, 1)) for k, row in enumerate(values))


def test_a_folder_is_points_under_the_contract(task_field):
    """A [[points]] path that is a folder: WGS84 points in SI, machine from the device, width from the facts where none is logged."""
    found = read_points(task_field())
    table = POINTS.check(found.table)
    assert table.crs.to_epsg() == 4326
    assert table["mass_flow_kg_s"].tolist() == [12.0] * 10
    assert table["width_m"].tolist() == pytest.approx([9.144] * 10)
    assert table["machine"].tolist() == ["Made combine"] * 10
    assert table.geometry.y.iloc[1] == pytest.approx(41.9000135)
    assert found.detected[0][0] == "td/TLG00001"
    assert [one.role for one in found.detected[0][1]] == ["mass_flow"]
    assert any(note.startswith("creek/td has no moisture") for note in found.notes)


def test_machine_of_the_facts_wins(task_field):
    """A machine named beside path stands instead of the device's name."""
    assert set(read_points(task_field(keys='machine = "red"')).table["machine"]) == {"red"}


def test_each_time_log_is_a_log(made, task_field):
    """Two time logs and a text log after them: numbers 0, 1 and 2; columns only one of them has are gaps in the others."""
    task = '<TSK A="T"><TLG A="TLG00001"/><TLG A="TLG00002"/></TSK>'
    second = {"TLG00002.xml": made.header(["0057", "005E", ("008F", "6000", "DET-1")]), "TLG00002.bin": made.record(0, {0: 1, 1: 22_500})}
    field = task_field(files=second, taskdata=made.taskdata(made.device, task))
    facts = field.folder / "field.toml"
    (field.folder / "more.csv").write_text("lon,lat,yield (bu/ac),speed (mph)\n-93.6,41.9,180,4\n")
    facts.write_text(facts.read_text() + '[[points]]\npath = "more.csv"\n')
    found = read_points(read_field(field.folder))
    assert found.table["log"].tolist() == [0] * 10 + [1, 2]
    assert found.table["loss_sensor_count_m2"].dropna().tolist() == [22.5]
    assert [(timing.log, timing.latency_s) for timing in found.timings] == [(1, 6.0)]
    assert [name for name, _ in found.detected] == ["td/TLG00001", "td/TLG00002", "more.csv"]


def test_yield_per_area_comes_to_market_moisture(made, task_field):
    """9,000 kg/ha at 20 % water are 8,521 at corn's 15.5 %; without a reading the log's middle moisture, without any as it came."""
    found = read_points(task_field(header=made.header(["0054", "0063"]), binary=drive(made, [200_000, 150_000, None, 100_000]))).table
    assert found["yield_kg_ha"].tolist() == pytest.approx([9_000 * (100 - w) / 84.5 for w in (20, 15, 15, 10)])
    assert "wet_yield_kg_ha" not in found
    dry = read_points(task_field(name="other", header=made.header(["0054"]), binary=drive(made, [None] * 3))).table
    assert dry["yield_kg_ha"].tolist() == pytest.approx([9_000] * 3)


def test_the_edge_in_the_task_data_serves_a_field_without_one(made, task_field):
    """Taken and said where field.toml names no boundary; not where it does, and never without the log."""
    taskdata = made.taskdata(FIELD, made.device, made.task)
    field = task_field(taskdata=taskdata)
    log = read_points(field)
    said = "creek/td: the field's boundary is the one in the task data (2.03 ha); set boundary in field.toml to use another"
    assert said in log.notes
    edge = read_boundary(field, log)
    assert edge.crs.to_epsg() == 4326
    assert edge.iloc[0].equals(shapely.box(-93.601, 41.8999, -93.599, 41.901))
    assert read_boundary(field) is None
    (field.folder / "edge.geojson").write_text('{"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]]}')
    named = task_field(taskdata=taskdata, facts='boundary = "edge.geojson"\n')
    log = read_points(named)
    assert log.edge is None
    assert not any("boundary" in note for note in log.notes)
    assert read_boundary(named, log).iloc[0].area == pytest.approx(0.5)


def test_a_layer_chooses_the_field(made, task_field):
    """layer = beside path names a field, task or log of the task data."""
    task = '<TSK A="A" E="PFD-1"><TLG A="TLG00001"/></TSK><TSK A="B" E="PFD-2"><TLG A="TLG00002"/></TSK>'
    second = {"TLG00002.xml": made.header(["0057"]), "TLG00002.bin": made.drive(4)}
    taskdata = made.taskdata(made.device, task)
    assert len(read_points(task_field('layer = "PFD-2"', files=second, taskdata=taskdata)).table) == 4
    with pytest.raises(ReadError, match=r'^creek/td: holds logs of 2 fields .*name one beside path, for example layer = "PFD-1"$'):
        read_points(task_field(files=second, taskdata=taskdata))


@pytest.mark.parametrize(
    ("keys", "named"), [('crs = "EPSG:4326"', "crs"), ('interval = "1 s"', "interval"), ('[points.columns]\nspeed = "x"', "columns")]
)
def test_keys_without_meaning_are_refused(task_field, keys, named):
    """Task data fix their columns, units and coordinate system: what says otherwise is not ignored."""
    with pytest.raises(ReadError) as refused:
        read_points(task_field(keys))
    assert str(refused.value) == f"creek/td: is ISO 11783-10 task data, whose meaning is fixed; leave {named} out of its [[points]]"


def test_a_folder_without_task_data_is_refused(field_folder):
    """A folder is nothing else that is read."""
    folder = field_folder(points=None)
    (folder / "logs").mkdir()
    (folder / "field.toml").write_text((folder / "field.toml").read_text() + '\n[[points]]\npath = "logs"\n')
    with pytest.raises(ReadError, match=r"^creek/logs: is no file lossmap reads \(found a folder without TASKDATA\.XML\); export CSV"):
        read_points(read_field(folder))


def test_fingerprints_know_every_file_of_the_folder(task_field):
    """A byte changed in one binary changes the fingerprint of the folder."""
    field = task_field()
    before = fingerprints(field)["td"]
    binary = field.folder / "td" / "TLG00001.bin"
    binary.write_bytes(binary.read_bytes()[:-1] + b"\x01")
    assert fingerprints(field)["td"] != before


def test_an_open_maize_log_written_as_task_data_says_the_same(made, open_data, field_folder):
    """4,949 records of a real combine written again as task data: places, flow, moisture and speed come back within a raw unit."""
    table = pd.read_csv(open_data("gartner-corn/gartner.corn.txt"), sep=None, engine="python")
    folder = field_folder(points=None)
    records = []
    for row in table.itertuples():
        second = row.time - table["time"].min()
        raw = (round(row.mass * 453_592.37), round(row.moist * 10_000), round(row.dist * 25.4 / row.seconds))
        place = (round(row.lat * 1e7), round(row.long * 1e7), 1)
        records.append(made.record(second % 40_000, dict(enumerate(raw)), place, day=16_000 + int(second // 40_000)))
    made.write(folder / "td", header=made.header(["0057", "0063", "018D", ("0043", "9144", "DET-1")]), binary=b"".join(records))
    (folder / "field.toml").write_text((folder / "field.toml").read_text() + '\n[[points]]\npath = "td"\n')
    found = read_points(read_field(folder)).table
    np.testing.assert_allclose(found["mass_flow_kg_s"], table["mass"] * 0.45359237, atol=1e-6)
    np.testing.assert_allclose(found["moisture_pct"], table["moist"], atol=1e-4)
    np.testing.assert_allclose(found["speed_m_s"], table["dist"] * 0.0254 / table["seconds"], atol=5e-4)
    np.testing.assert_allclose(found.geometry.y, table["lat"], atol=6e-8)
    np.testing.assert_allclose(found.geometry.x, table["long"], atol=6e-8)
    assert found["width_m"].unique().tolist() == [9.144]


def test_an_open_log_as_a_field(open_data, field_folder):
    """A real forage log through field.toml: every record a point, its field's boundary around most of them."""
    folder = field_folder(points=None)
    shutil.copytree(open_data("task-data-forage/field-work"), folder / "td")
    (folder / "field.toml").write_text((folder / "field.toml").read_text() + '\n[[points]]\npath = "td"\nlayer = "PFD-2"\n')
    found = read_points(read_field(folder))
    assert len(POINTS.check(found.table)) == 4_716
    assert np.mean(shapely.contains(found.edge.iloc[0], found.table.geometry.to_numpy())) > 0.9
