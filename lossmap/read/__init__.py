"""Files to tables in the contracts' names and units. The first stage, and with `report` the only one that touches files."""

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
