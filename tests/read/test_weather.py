"""Weather as people and stations write it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from lossmap.base.errors import ReadError
from lossmap.read import read_weather

PLAIN = """\
date,tmin_c,tmax_c,rain_mm,rh_pct
2025-10-02,4.5,17.0,0.0,71
2025-10-01,6.0,19.5,3.2,
2025-10-03,2.0,,0,80
"""

# One row a day and element: station, day, element, value in tenths, measurement, quality and source flag, hour.
LONG = """\
MADE0000001,20251001,TMAX,195,,,W,0800
MADE0000001,20251001,TMIN,60,,,W,0800
MADE0000001,20251001,PRCP,32,,,W,0800
MADE0000001,20251001,ADPT,71,,,W,
MADE0000001,20251001,SNWD,0,,,W,
MADE0000001,20251002,TMAX,170,,,W,0800
MADE0000001,20251002,TMIN,45,,,W,0800
MADE0000001,20251002,PRCP,-9999,,,W,0800
MADE0000001,20251003,TMAX,990,,X,W,0800
MADE0000001,20251003,TMIN,20,,,W,0800
MADE0000001,20251003,PRCP,0,T,,W,0800
"""

BY_DAY = """\
"STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"
"MADE0000001","2025-10-01","41.0","-93.0","300.0","MADE STATION, US","   32",",,W,0800","  195",",,W","   60",",,W"
"MADE0000001","2025-10-02","41.0","-93.0","300.0","MADE STATION, US","-9999",",,W,0800","  170",",,W","   45",",,W"
"MADE0000001","2025-10-03","41.0","-93.0","300.0","MADE STATION, US","    0","T,,W,0800","  990",",X,W","   20",",,W"
"""


@pytest.fixture
def written(tmp_path):
    """Write a file of weather."""

    def write(text):
        file = tmp_path / "weather.csv"
        file.write_text(text)
        return file

    return write


def test_a_plain_table(written):
    """Days come in their order; what was not written is missing, not zero."""
    table = read_weather(written(PLAIN), "weather.csv")
    assert [str(day.date()) for day in table["day_on"]] == ["2025-10-01", "2025-10-02", "2025-10-03"]
    assert table["tmin_c"].tolist() == [6.0, 4.5, 2.0]
    assert np.isnan(table["tmax_c"].iloc[2])
    assert np.isnan(table["rh_pct"].iloc[0])
    assert table["dewpoint_c"].isna().all()


def test_fahrenheit_and_inches(written):
    """Units stand in the names of columns, also in brackets."""
    table = read_weather(written("Date,Tmin (F),tmax_f,Rain (in),Dew point [F]\n2025-10-01,41,68,0.5,50\n"), "weather.csv")
    row = table.iloc[0]
    assert row[["tmin_c", "tmax_c", "rain_mm", "dewpoint_c"]].tolist() == pytest.approx([5, 20, 12.7, 10])


@pytest.mark.parametrize("text", [LONG, BY_DAY], ids=["a row an element", "a row a day"])
def test_a_station_in_both_layouts(written, text):
    """Tenths, -9999 and quality flags: a value that failed its keepers' check is missing, a trace of rain is dry."""
    table = read_weather(written(text), "weather.csv")
    assert table["tmax_c"].tolist() == pytest.approx([19.5, 17.0, np.nan], nan_ok=True)
    assert table["tmin_c"].tolist() == pytest.approx([6.0, 4.5, 2.0])
    assert table["rain_mm"].tolist() == pytest.approx([3.2, np.nan, 0.0], nan_ok=True)
    if text is LONG:
        assert table["dewpoint_c"].tolist() == pytest.approx([7.1, np.nan, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "date,tmin,tmax,rain\n2025-10-01,4,15,0\n",
            "weather.csv: tmin says no unit; call it tmin_c or tmin_f",
        ),
        ("date,tmin_c,tmax_c,rain\n2025-10-01,4,15,0\n", "weather.csv: rain says no unit; call it rain_mm or rain_in"),
        (
            "date,tmin_c,tmax_c\n2025-10-01,4,15\n",
            "weather.csv: has no rain_mm; it should hold date, tmin_c, tmax_c, rain_mm and, better, rh_pct or dewpoint_c",
        ),
        (
            "when,tmin_c,tmax_c,rain_mm\n2025-10-01,4,15,0\n",
            "weather.csv: has no column date (columns when, tmin_c, tmax_c, rain_mm); "
            "it should hold date, tmin_c, tmax_c, rain_mm and, better, rh_pct or dewpoint_c",
        ),
        (PLAIN.replace("10-02", "13-02"), 'weather.csv, row 2: date "2025-13-02" is not a day; write 2025-10-18'),
        (PLAIN.replace("10-03", "10-02"), "weather.csv, row 4: 2025-10-02 stands twice; delete one"),
        (
            "date,tmin_c,tmax_c,rain_mm\n2025-10-01,15,4,0\n",
            "weather.csv: on 2025-10-01 tmin is 15.0 C and tmax 4.0 C; the columns look exchanged; exchange their names",
        ),
        (
            "date,tmin_c,tmax_c,rain_mm,rh_pct\n2025-10-01,4,15,0,0.7\n",
            "weather.csv: rh_pct is never above 0.7; write humidity in percent",
        ),
        (
            "date,tmin_c,tmax_c,rain_mm\n2025-10-01,4,15,-3\n",
            "weather.csv: rain_mm must lie between 0 and 2000 mm; 1 do not, the first in row 2 (-3); correct the file",
        ),
        (
            LONG.replace("0001,20251002,TMIN", "0002,20251002,TMIN"),
            "weather.csv: holds 2 stations (MADE0000001, MADE0000002, ...); give one station's file",
        ),
        (LONG + LONG.splitlines()[1], "weather.csv, row 12: TMIN of 2025-10-01 stands twice; delete one"),
        (
            "\n".join(line for line in LONG.splitlines() if "PRCP" not in line),
            "weather.csv: has no rain_mm; the station does not measure it; choose another station",
        ),
    ],
)
def test_refusals(written, text, message):
    """Where, what was found, what to do."""
    with pytest.raises(ReadError, match=f"^{re.escape(message)}$"):
        read_weather(written(text), "weather.csv")


def test_no_file(tmp_path):
    """A file that is not there is named."""
    with pytest.raises(ReadError, match=r"weather\.csv: cannot be read"):
        read_weather(tmp_path / "nothing.csv", "weather.csv")


def test_two_columns_of_one_kind_are_refused(tmp_path):
    """Which of two columns of rain holds is not guessed."""
    (tmp_path / "w.csv").write_text(PLAIN.replace("rh_pct", "rainfall"))
    with pytest.raises(ReadError, match=r"w\.csv: rain_mm and rainfall both look like rain_mm; keep one"):
        read_weather(tmp_path / "w.csv", "w.csv")
