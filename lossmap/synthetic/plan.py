"""What a made field shall be: its land, its machine and sensors, its losses, its stops, its flaws."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from lossmap.base.errors import SettingsError, near
from lossmap.base.reference import crop as crop_row
from lossmap.base.tables import POSITIONS
from lossmap.base.units import factor

__all__ = ["FT2_M2", "OUTLINES", "FieldPlan", "Source"]

#: The area of a frame of one square foot.
FT2_M2 = factor("ft2", "m2")

#: Corners as shares of length (along the passes) and breadth (across them).
OUTLINES: Mapping[str, tuple[tuple[float, float], ...]] = MappingProxyType(
    {
        "rectangle": ((0, 0), (1, 0), (1, 1), (0, 1)),
        "irregular": ((0.02, 0), (0.93, 0.03), (1, 0.35), (0.88, 0.62), (0.95, 1), (0.3, 0.97), (0, 0.8), (0.06, 0.4)),
        "holed": ((0, 0.05), (0.4, 0), (1, 0.02), (0.97, 0.7), (0.8, 1), (0.05, 0.96)),
        "bent": ((0, 0), (1, 0), (1, 0.55), (0.55, 0.6), (0.5, 1), (0, 1)),
    }
)


@dataclass(frozen=True)
class Source:
    """How one source of loss lies over the field.

    Attributes
    ----------
    mean_kg_ha : float
        Its mean before speed and dryness act [kg/ha].
    sd : float
        Standard deviation of its logarithm over the field.
    range_m : float
        Distance over which it stays alike (correlation falls to 0.37) [m].
    smooth : bool
        Whether it varies smoothly (Matérn 3/2) or roughly (exponential).
    """

    mean_kg_ha: float
    sd: float = 0.4
    range_m: float = 70.0
    smooth: bool = False


@dataclass(frozen=True)
class FieldPlan:
    """What a made field shall be; units at the end of each name.

    Attributes
    ----------
    crop : str
        A row of the crop table.
    outline : "rectangle", "irregular", "holed" or "bent"
    length_m, breadth_m : float
        Extent along and across the passes [m].
    course_deg : float
        Course of the first pass, clockwise from north [deg].
    west_m, north_m, epsg : float, float, int
        Where it lies (invented) [m in that CRS].
    started : datetime
        When the machine drives in [UTC].
    machine : str
    header_width_m, overlap_m : float
        Width of the header and how far each pass overlaps the one before [m].
    headland_rounds : int
        Rounds cut along the edge before the passes.
    two_ways : bool
        Whether neighbouring passes run against each other.
    log_interval_s : float
    flow_delay_s, moisture_delay_s : float
        How late the sensors are, on the centre of mass of their response [s].
    ramp_s : float
        Time constant with which the machine fills and empties [s].
    header_up_rows : bool
        Whether turns are in the log (then `work` says so).
    speed_levels_m_s : tuple of float
        One is drawn for each pass.
    speed_wander : float
        Standard deviation of speed along a pass, as a share.
    headland_speed : float
        Speed on the headland rounds, as a share of the mean level.
    yield_kg_ha, yield_sd, yield_range_m
        Mean at market moisture, its relative standard deviation, and its range.
    moisture_start_pct, moisture_drop_pct : float
        Mean moisture when harvest starts, and how far it falls until the end.
    moisture_sd_pct, moisture_range_m, moisture_noise_pct : float
        Spatial part and sensor noise.
    flow_noise, gnss_noise_m : float
        Sensor noise as a share of flow; of position [m].
    preharvest, header, threshing : Source
    speed_effect, speed_knot_m_s : float
        Factor on header loss for each +0.5 m/s above the knot (1: none; moderate 1.49; strong 2.22).
    dryness_effect, moisture_knot_pct : float
        Factor on header loss for each -2 points below the knot (1: none; moderate 1.65; strong 2.72).
    effect_area : float
        Share of the field, in one or few lumps, where the effects act.
    micro_sd : float
        Standard deviation of the logarithm of loss from stop to stop at no distance.
    clumping_r : float
        Size of the negative binomial for a frame of 1 ft2: variance = mean + mean^2 / r.
    stops : int
    design : "random", "spread" or "passes"
    frames, frame_m2 : int, float
        Frames laid at each position of a stop, and the area of one [m2].
    positions : tuple of str
        Where frames are laid.
    stop_noise_m : float
        How far off a counter's position is, in each direction [m].
    discharge_width_m : float or None
        Width over which residue falls [m]; None: the header's.
    seed_mass_g : float or None
        True mass of a thousand seeds [g]; None: the crop table's.
    stated_seed_mass_g : float or None
        What field.toml says of it; None: nothing.
    ears, ear_g : float, float or None
        Share of preharvest and header loss that lies there as whole ears, and the grain on
        one [g]; with None it is the crop table's and the counter did not weigh it.
    weighed : bool
        Whether seeds are weighed instead of counted.
    duplicates, jumps, spikes, stuck_moisture : int
        Flaws: records written twice, thrown aside, with threefold flow, with a stuck moisture sensor.
    """

    crop: str = "soybean"
    outline: str = "rectangle"
    length_m: float = 500.0
    breadth_m: float = 320.0
    course_deg: float = 20.0
    west_m: float = 412_000.0
    north_m: float = 4_655_000.0
    epsg: int = 32615
    started: datetime.datetime = datetime.datetime(2025, 10, 18, 15, 0, tzinfo=datetime.UTC)
    machine: str = "made"
    header_width_m: float = 9.144
    overlap_m: float = 0.0
    headland_rounds: int = 1
    two_ways: bool = True
    log_interval_s: float = 1.0
    flow_delay_s: float = 0.0
    moisture_delay_s: float = 0.0
    ramp_s: float = 2.0
    header_up_rows: bool = False
    speed_levels_m_s: tuple[float, ...] = (1.4, 1.7, 2.0, 2.3, 2.6)
    speed_wander: float = 0.05
    headland_speed: float = 0.75
    yield_kg_ha: float = 3700.0
    yield_sd: float = 0.12
    yield_range_m: float = 80.0
    moisture_start_pct: float = 15.0
    moisture_drop_pct: float = 3.5
    moisture_sd_pct: float = 0.6
    moisture_range_m: float = 90.0
    moisture_noise_pct: float = 0.15
    flow_noise: float = 0.04
    gnss_noise_m: float = 0.1
    preharvest: Source = Source(12.0, 0.3, 60.0)
    header: Source = Source(80.0, 0.45, 70.0)
    threshing: Source = Source(18.0, 0.35, 60.0)
    speed_effect: float = 1.0
    speed_knot_m_s: float = 2.0
    dryness_effect: float = 1.0
    moisture_knot_pct: float = 13.0
    effect_area: float = 1.0
    micro_sd: float = 0.0
    clumping_r: float = 4.0
    stops: int = 24
    design: Literal["random", "spread", "passes"] = "random"
    frames: int = 4
    frame_m2: float = FT2_M2
    positions: tuple[str, ...] = POSITIONS
    stop_noise_m: float = 1.0
    discharge_width_m: float | None = None
    seed_mass_g: float | None = None
    stated_seed_mass_g: float | None = None
    ears: float = 0.0
    ear_g: float | None = None
    weighed: bool = False
    duplicates: int = 0
    jumps: int = 0
    spikes: int = 0
    stuck_moisture: int = 0

    def __post_init__(self) -> None:
        if self.outline not in OUTLINES:
            raise SettingsError(f'FieldPlan: outline "{self.outline}" is not known; {near(self.outline, OUTLINES)}')
        wrong = sorted(set(self.positions) - set(POSITIONS))
        if wrong:
            raise SettingsError(f'FieldPlan: position "{wrong[0]}" is not known; {near(wrong[0], POSITIONS)}')

    @property
    def thousand_seeds_g(self) -> float:
        """True mass of a thousand seeds [g]."""
        return self.seed_mass_g or crop_row(self.crop).seed_mass_g.mean

    @property
    def grain_on_ear_g(self) -> float:
        """True mass of grain on one ear [g]; NaN for crops that have none."""
        row = crop_row(self.crop)
        return self.ear_g or (row.ear_grain_g.mean if row.ear_grain_g else math.nan)

    @property
    def concentration(self) -> float:
        """How much denser what leaves the machine lies than what was cut (cut width / discharge width)."""
        return self.header_width_m / (self.discharge_width_m or self.header_width_m)
