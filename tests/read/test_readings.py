"""The file of readings and cuts that grows over a harvest."""

from __future__ import annotations

import datetime
import re

import pytest

from lossmap.base.errors import ReadError
from lossmap.base.farm import Reading
from lossmap.read.readings import Logged, read_readings

READINGS = """Field,Date,moisture_pct,CUT
Creek,2025-10-02,21.5,
Bench,2025-10-01,,
Creek,2025-10-05,19.0,Yes
Creek,2025-10-03,,x
"""


def read(tmp_path, text):
    """The readings of this text, of a farm of two fields."""
    file = tmp_path / "readings.csv"
    file.write_text(text)
    return read_readings(file, "made/readings.csv", {"Creek", "Bench"})


def test_readings_and_cuts_by_field(tmp_path):
    """A row may be a reading, a cut, both or neither; the last cut holds, in whatever order the rows stand."""
    found = read(tmp_path, READINGS)
    days = [datetime.date(2025, 10, 2), datetime.date(2025, 10, 5)]
    assert found == {"Creek": Logged((Reading(days[0], 21.5), Reading(days[1], 19.0)), days[1]), "Bench": Logged()}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("21.5", "150"), "made/readings.csv, row 2: moisture_pct 150 is outside 5 to 60 %; correct it"),
        (("Bench", "Bensh"), 'made/readings.csv, row 3: no field is called "Bensh"; did you mean Bench?'),
        (("2025-10-01", "1 Oct"), 'made/readings.csv, row 3: date "1 Oct" is not a day; write 2025-10-18'),
        (("2025-10-01", "1925-10-01"), "made/readings.csv, row 3: date 1925-10-01 is no day of a harvest (1990 to 2100); correct it"),
        (("CUT", "date"), "made/readings.csv: two columns are called date, but for the letter case; keep one"),
        (
            ("Field", "name"),
            "made/readings.csv: has no column field; "
            "it should hold field, date, moisture_pct and cut (yes where the field was cut that day)",
        ),
    ],
)
def test_readings_refused(tmp_path, change, message):
    """Row, what was found, what to do."""
    with pytest.raises(ReadError, match=f"^{re.escape(message)}$"):
        read(tmp_path, READINGS.replace(*change))


def test_all_faults_come_together(tmp_path):
    """Two rows, two faults, one message."""
    with pytest.raises(ReadError) as refused:
        read(tmp_path, READINGS.replace("21.5", "2").replace("Bench", "Bensh"))
    assert len(str(refused.value).splitlines()) == 2
