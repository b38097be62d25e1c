"""Files to tables in the contracts' names and units. The first stage, and with `report` the only one that touches files.

facts           field.toml, and a run's settings
points          logs to POINTS
counts          lists of counts to COUNTS
count_columns   which of their columns plays which role
boundary        the field's edge
farm            farm.toml and what it names
readings        a farm's file of readings and cuts
weather         days of a station or of a plain table
season          the fields below a folder
season_row      what a mapped one's results say, in a row
evidence        what a mapped field brings to a season
results         results of an earlier run, of which nothing is believed that a map would not write

formats         any table by its file's ending:
csv_table         text
vector            what GDAL and Arrow read
shapefile         whether all parts of one are there
zips              whether a zip may be unpacked
taskdata/         ISO 11783-10
raw             a file as it stands: columns, rows, numbers in them

detect          which column of a log plays which role, and in which unit
roles           what a column of each role looks like
words           what headers say
ground          what the ground says of a column's unit
places          where records lie
times           when they were written
"""

from lossmap.read.boundary import read_boundary
from lossmap.read.counts import read_counts
from lossmap.read.evidence import read_evidence
from lossmap.read.facts import fingerprints, read_chosen, read_field, read_settings
from lossmap.read.farm import farm_fingerprints, read_farm, read_farm_weather
from lossmap.read.points import PointsRead, read_points
from lossmap.read.season import field_folders
from lossmap.read.season_row import read_season_row, results_sha256
from lossmap.read.weather import read_weather

__all__ = [
    "PointsRead",
    "farm_fingerprints",
    "field_folders",
    "fingerprints",
    "read_boundary",
    "read_chosen",
    "read_counts",
    "read_evidence",
    "read_farm",
    "read_farm_weather",
    "read_field",
    "read_points",
    "read_season_row",
    "read_settings",
    "read_weather",
    "results_sha256",
]
