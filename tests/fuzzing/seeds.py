"""Sound files to start from, small: what a reader takes gladly is where damage goes deepest."""

from __future__ import annotations

import re
import struct
import tempfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from lossmap.base.settings import Settings
from lossmap.pipelines.map_field import map_field
from lossmap.synthetic import FieldPlan, make, write

__all__ = [
    "BARE_FACTS",
    "COUNTS",
    "DAILY",
    "FACTS",
    "FARM",
    "GHCN",
    "LOG",
    "PLAIN_WEATHER",
    "READINGS",
    "TASK_PARTS",
    "results",
    "vector_file",
]

FACTS = b"""name = "Made"
crop = "corn"
header_width = "30 ft"
discharge_width = "5 ft"
thousand_seed_mass = "290 g"
harvested_on = 2025-10-18
[[points]]
path = "points.csv"
machine = "red"
missing = ["n/a"]
interval = "1 s"
[points.columns]
mass_flow = { column = "Mass flow (lb/s)", unit = "lb/s" }
[[counts]]
path = "counts.csv"
"""

#: Whose columns are found by their names.
BARE_FACTS = re.sub(rb"\[points\.columns\]\n.*\n", b"", FACTS)

FARM = b"""name = "Made farm"
weather = "weather.csv"
history = "history.csv"
readings = "readings.csv"
dryer = "2000 bu/d"
[[combine]]
rate = "12 ac/h"
hours_per_day = "10 h"
[money.corn]
price = "4.20 USD/bu"
drying = "0.05 USD/bu"
discounts = [{ above = "16 %", discount = "2 %" }]
[[field]]
name = "Mill race"
crop = "corn"
area = "71 ac"
expected_yield = "180 bu/ac"
moisture = "22 %"
measured_on = 2025-09-20
standability = 1
matured_on = 2025-09-08
location = [-93.35, 42.36]
"""

LOG = b"longitude,latitude,Mass flow (lb/s),Moisture (%),Speed (mph),Time,Swath width (ft)\n" + b"".join(
    b"-93.6,%.7f,%d,17.5,4.5,2025-10-18T14:00:%02dZ,30\n" % (41.9 + 1.809e-5 * i, 30 + i % 5, i) for i in range(40)
)

COUNTS = b"stop,longitude,latitude,position,seeds,frame_ft2,frames,note\n" + b"".join(
    b"%d,-93.6,41.9%02d,%s,%d,1,4,dry\n" % (i // 2, i // 2, (b"before header", b"rear")[i % 2], i) for i in range(20)
)

READINGS = b"field,date,moisture_pct,cut\nMill race,2025-09-20,21.5,\nMill race,2025-09-24,19,yes\n"

PLAIN_WEATHER = b"date,tmin_c,tmax_c,rain_mm,rh_pct\n" + b"".join(b"2025-09-%02d,8,%d,0.5,65\n" % (i, 18 + i % 7) for i in range(1, 29))

GHCN = b"".join(
    b"USC00130001,202509%02d,%s,%d,,,7,0700\n" % (i, name, value)
    for i in range(1, 15)
    for name, value in ((b"TMAX", 220 + i), (b"TMIN", 90), (b"PRCP", 3))
)

DAILY = b'"STATION","DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES","PRCP","PRCP_ATTRIBUTES"\n' + b"".join(
    b'"USC00130001","2025-09-%02d","  220",",,7","   90",",,7","    3",",,7"\n' % i for i in range(1, 15)
)


def vector_file(name: str, kind: str = "points") -> bytes:
    """A sound small log, or an outline (`kind` "outline"), in the format that the ending of `name` says."""
    count = 12
    if kind == "outline":
        frame = gpd.GeoDataFrame({"id": [1]}, geometry=[shapely.box(-93.61, 41.89, -93.59, 41.91)], crs="EPSG:4326")
    else:
        columns = {"flw_kgs": np.linspace(8, 12, count), "mostr": np.linspace(15, 18, count), "spd_ms": np.full(count, 2.0)}
        places = shapely.points(np.full(count, -93.6), 41.9 + np.arange(count) * 2.0 / 111_195)
        frame = gpd.GeoDataFrame(columns, geometry=places, crs="EPSG:4326")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / name
        frame.to_parquet(file) if name.endswith("parquet") else frame.to_file(file)
        return file.read_bytes()


def results() -> dict[str, bytes]:
    """What a map of a small made field with counts leaves, by file."""
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "made"
        write(make(FieldPlan(length_m=160, breadth_m=120, stops=8, log_interval_s=3.0), 1), made)
        map_field(made, Settings(), Path(folder) / "out")
        return {path.name: path.read_bytes() for path in (Path(folder) / "out" / "made").iterdir()}


def _records(count: int) -> bytes:
    """Binary records of a second each, 1.5 m further north, one value."""
    return b"".join(
        struct.pack("<IHiiBB", 43_200_000 + 1000 * k, 16_726, 419_000_000 + 135 * k, -936_000_000, 1, 1) + struct.pack("<Bi", 0, 12_000_000)
        for k in range(count)
    )


#: TASKDATA.XML, a log's header, its binary.
TASK_PARTS = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n<ISO11783_TaskData VersionMajor="4" VersionMinor="3" DataTransferOrigin="2">'
    b'<DVC A="DVC-1" B="Made combine"><DET A="DET-1" B="1" C="1" F="0"><DOR A="10"/></DET></DVC>'
    b'<PFD A="PFD-1" C="Made"><PLN A="1"><LSG A="1"><PNT A="2" C="41.89" D="-93.61"/><PNT A="2" C="41.91" D="-93.61"/>'
    b'<PNT A="2" C="41.91" D="-93.59"/></LSG></PLN></PFD>'
    b'<TSK A="TSK-1" B="Made" E="PFD-1" G="4"><TIM A="2025-10-17T12:00:00Z" D="4"><DLV A="0057" B="5"/></TIM><DAN A="A0" C="DVC-1"/>'
    b'<TLG A="TLG00001" C="1"/></TSK></ISO11783_TaskData>',
    b'<?xml version="1.0" encoding="UTF-8"?>\n<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0057" B="" C="DET-1"/></TIM>',
    _records(10),
)
