"""The trade's arithmetic: counted seeds to kilograms a hectare, and the sums around it.

Pure functions, SI in and SI out (moisture and shares in percent), on numbers or arrays.
Keys in square brackets are those of ``base/reference/sources.toml``; a function without
one is a definition. Doubt is not here: it is in `lossmap.loss.stops`.
"""

from __future__ import annotations

import math
from typing import TypeVar

from lossmap.base.grid import Floats

__all__ = [
    "concentration_ratio",
    "dry_matter_kg",
    "ears_kg_ha",
    "field_capacity_ha_h",
    "handled_shrink_pct",
    "hoop_diameter_m",
    "loss_of_percent_kg_ha",
    "loss_split_kg_ha",
    "machine_loss_kg_ha",
    "percent_of_harvested",
    "percent_of_total",
    "reel_rpm",
    "reel_speed_index",
    "relative_error",
    "seed_loss_kg_ha",
    "seeds_for_relative_error",
    "seeds_from_mass",
    "seeds_m2_of_loss",
    "strip_depth_m",
    "swath_length_m",
    "thousand_seed_mass_g",
    "thousand_seed_mass_of_rule_g",
    "throughput_kg_s",
    "upper_limit_of_zero",
    "water_shrink_pct",
    "weight_short_pct",
    "yield_at_moisture_kg_ha",
]

Number = TypeVar("Number", float, Floats)

# 1 g/m2 is 10 kg/ha.
KG_HA_OF_G_M2 = 10.0


def seed_loss_kg_ha(seeds: Number, area_m2: Number | float, thousand_seed_mass_g: float) -> Number:
    """Loss [kg/ha] that `seeds` found on `area_m2` [m2] amount to [CCCTSW, FFA].

    Seeds at the crop's own thousand-seed mass are already grain at market moisture: no
    moisture correction comes on top.

    Examples
    --------
    >>> round(seed_loss_kg_ha(4.0, 0.09290304, 156.2), 1)  # 4 soybeans on a square foot
    67.3
    """
    return seeds / area_m2 * (thousand_seed_mass_g / 1000 * KG_HA_OF_G_M2)


def seeds_m2_of_loss(loss_kg_ha: Number, thousand_seed_mass_g: float) -> Number:
    """Seeds on a square metre [1/m2] that `loss_kg_ha` amounts to: `seed_loss_kg_ha` turned round.

    Examples
    --------
    >>> round(seeds_m2_of_loss(62.77, 292.0), 2)  # corn, 1 bu/ac: 2 kernels a square foot
    21.5
    """
    return loss_kg_ha / (thousand_seed_mass_g / 1000 * KG_HA_OF_G_M2)


def seeds_from_mass(grams: Number, thousand_seed_mass_g: float) -> Number:
    """How many seeds weigh `grams` [g] [CCC]."""
    return grams / (thousand_seed_mass_g / 1000)


def thousand_seed_mass_g(seeds: Number, grams: Number) -> Number:
    """Mass of a thousand seeds [g] from `seeds` counted that weigh `grams` [g] together; also from seeds a pound or a bushel.

    Examples
    --------
    >>> round(thousand_seed_mass_g(2188.0, 453.59237), 1)  # a lot of field peas, seeds a pound
    207.3
    """
    return grams / seeds * 1000


def thousand_seed_mass_of_rule_g(seeds: Number, area_m2: Number | float, loss_kg_ha: Number) -> Number:
    """Mass of a thousand seeds [g] that a rule "`seeds` on `area_m2` [m2] are `loss_kg_ha`" takes for granted [FFA, SG03].

    A rule of thumb for counting seeds is a statement on their size and nothing else.

    Examples
    --------
    >>> round(thousand_seed_mass_of_rule_g(4.0, 0.09290304, 67.25), 1)  # soybean: 4 on a square foot are 1 bu/ac
    156.2
    """
    return loss_kg_ha / seed_loss_kg_ha(seeds, area_m2, 1.0)


def ears_kg_ha(ears: Number, area_m2: Number | float, grain_per_ear_g: float) -> Number:
    """Loss [kg/ha] of whole `ears` found on `area_m2` [m2], each with `grain_per_ear_g` [g] of grain.

    Published rules of what an ear is worth differ by 3.5 times [BAY, BROD, QUICK]: weigh
    the grain, or count the kernels, of a few ears.
    """
    return ears / area_m2 * (grain_per_ear_g * KG_HA_OF_G_M2)


def concentration_ratio(header_width_m: float, discharge_width_m: float) -> float:
    """How many times denser residue lies behind the combine than it was cut: width cut over width spread [CCC, SG03].

    Examples
    --------
    >>> concentration_ratio(9.144, 1.524)
    6.0
    """
    return header_width_m / discharge_width_m


def machine_loss_kg_ha(behind_combine_kg_ha: Number, behind_header_kg_ha: Number | float, ratio: float) -> Number:
    """Threshing, separation and cleaning loss [kg/ha] from what lies behind and in front of the machine [SG03, NDSF].

    Subtract FIRST, divide by the concentration `ratio` AFTER: only what the machine let
    through is concentrated, what lay on the ground before is not. The other order makes
    the machine's loss negative.
    """
    return (behind_combine_kg_ha - behind_header_kg_ha) / ratio


def loss_split_kg_ha(
    before_header_kg_ha: Number, behind_header_kg_ha: Number, behind_combine_kg_ha: Number, ratio: float
) -> tuple[Number, Number, Number]:
    """Preharvest, header and threshing loss [kg/ha] from what lies at the three positions [SG03, NDSF, MSU12]."""
    header = behind_header_kg_ha - before_header_kg_ha
    return before_header_kg_ha, header, machine_loss_kg_ha(behind_combine_kg_ha, behind_header_kg_ha, ratio)


def percent_of_total(loss_kg_ha: Number, harvested_kg_ha: Number | float) -> Number:
    """Loss as percent of all that grew, harvested and lost [SG03]; the basis used throughout.

    Examples
    --------
    >>> round(percent_of_total(3.0, 35.0), 2), round(percent_of_harvested(3.0, 35.0), 2)
    (7.89, 8.57)
    """
    return 100 * loss_kg_ha / (loss_kg_ha + harvested_kg_ha)


def percent_of_harvested(loss_kg_ha: Number, harvested_kg_ha: Number | float) -> Number:
    """Loss as percent of what reached the tank [FFA]; always above `percent_of_total`."""
    return 100 * loss_kg_ha / harvested_kg_ha


def loss_of_percent_kg_ha(percent: Number, yield_kg_ha: Number | float) -> Number:
    """What `percent` of a yield comes to [kg/ha]; on which yield the percent stands is for the caller to know."""
    return percent / 100 * yield_kg_ha


def water_shrink_pct(moisture_pct: Number, final_moisture_pct: float) -> Number:
    """Share of weight [%] that goes with the water when grain dries to `final_moisture_pct`.

    Examples
    --------
    >>> round(water_shrink_pct(25.0, 15.5), 2)
    11.24
    """
    return 100 * (moisture_pct - final_moisture_pct) / (100 - final_moisture_pct)


def handled_shrink_pct(moisture_pct: Number, final_moisture_pct: float, handling_pct: float = 0.5) -> Number:
    """Water shrink and `handling_pct` of the wet weight for dust and breakage [%] (0.5 is common practice, no source)."""
    return water_shrink_pct(moisture_pct, final_moisture_pct) + handling_pct


def weight_short_pct(moisture_pct: Number, market_moisture_pct: float) -> Number:
    """Weight [% of that at market moisture] not sold because grain is drier than the market pays for; 0 when it is wetter.

    Per cent of the weight handed over at `market_moisture_pct`, as handbooks print it:
    what is missing over the dry grain's own solids share.

    Examples
    --------
    >>> round(weight_short_pct(9.0, 13.0), 1)
    4.4
    """
    short = 100 * (market_moisture_pct - moisture_pct) / (100 - moisture_pct)
    return (short + abs(short)) / 2


def dry_matter_kg(mass_kg: Number, moisture_pct: Number | float) -> Number:
    """What is no water in `mass_kg` [kg] of grain."""
    return mass_kg * (1 - moisture_pct / 100)


def yield_at_moisture_kg_ha(
    mass_flow_kg_s: Number, interval_s: Number | float, area_m2: Number | float, moisture_pct: Number | float, market_moisture_pct: float
) -> Number:
    """Yield [kg/ha at market moisture] of one record: grain of its interval over the area it cut.

    Parameters
    ----------
    mass_flow_kg_s : array or float
        Grain through the elevator, wet [kg/s].
    interval_s : array or float
        Time the record stands for [s].
    area_m2 : array or float
        Width cut times distance driven (or speed times interval) [m2].
    moisture_pct, market_moisture_pct : array or float, float
        Moisture of the grain and of the market [%, wet basis].
    """
    wet = mass_flow_kg_s * interval_s / area_m2 * 10_000
    return dry_matter_kg(wet, moisture_pct) / (1 - market_moisture_pct / 100)


def swath_length_m(area_m2: float, rows: int, row_spacing_m: float) -> float:
    """Length [m] along `rows` rows that covers `area_m2` [m2] [HANNA, ISU212].

    Examples
    --------
    >>> round(swath_length_m(40.46856, 6, 0.762) / 0.3048, 2)  # 1/100 acre, six 30-inch rows, in feet
    29.04
    """
    return area_m2 / (rows * row_spacing_m)


def strip_depth_m(area_m2: float, header_width_m: float) -> float:
    """Depth [m] of a strip across the whole header that covers `area_m2` [m2] [MU1280, ARR]."""
    return area_m2 / header_width_m


def hoop_diameter_m(area_m2: float) -> float:
    """Inside diameter [m] of a hoop that covers `area_m2` [m2]."""
    return 2 * math.sqrt(area_m2 / math.pi)


def reel_speed_index(reel_rpm: float, reel_diameter_m: float, speed_m_s: float) -> float:
    """Speed of the reel's tips over ground speed; 1.25 at most in soybean [MU1280, SEFP]."""
    return math.pi * reel_diameter_m * reel_rpm / 60 / speed_m_s


def reel_rpm(index: float, reel_diameter_m: float, speed_m_s: float) -> float:
    """Turns of the reel a minute for a reel speed `index` [REEL]: `reel_speed_index` turned round."""
    return index * speed_m_s * 60 / (math.pi * reel_diameter_m)


def throughput_kg_s(speed_m_s: Number, header_width_m: float, yield_kg_ha: Number | float) -> Number:
    """Grain into the machine [kg/s] at a ground speed, width and yield."""
    return speed_m_s * header_width_m * yield_kg_ha / 10_000


def field_capacity_ha_h(speed_m_s: Number, header_width_m: float) -> Number:
    """Ground covered in an hour without a stop [ha/h]."""
    return speed_m_s * header_width_m * 3600 / 10_000


def relative_error(seeds: float) -> float:
    """Standard error over value of a count of `seeds`, if seeds lay purely at random (Poisson).

    Real seeds lie in clumps, so this is the least the doubt can be. Infinite at 0.
    """
    return 1 / math.sqrt(seeds) if seeds > 0 else math.inf


def seeds_for_relative_error(error: float) -> float:
    """Seeds to count in all for a relative standard `error`, if seeds lay purely at random."""
    return 1 / error**2


def upper_limit_of_zero(chance: float = 0.95) -> float:
    """Seeds that may still be expected, at one-sided `chance`, where none was found.

    Examples
    --------
    >>> round(upper_limit_of_zero(), 3)
    2.996
    """
    return -math.log(1 - chance)
