"""The tables that pass between stages, in the data's order."""

from __future__ import annotations

from lossmap.base.tables.contract import Column, Contract
from lossmap.base.tables.words import DRIVE, DRIVER_WORDS, FACTORS, POSITIONS, SOURCES

__all__ = ["CELLS", "COUNTS", "LOSSES", "PLAN", "POINTS", "SEASON", "WEATHER", "ZONES"]


def _loss(source: str) -> tuple[Column, ...]:
    """A loss and its interval; below nothing where what lay before is taken off."""
    words = "seed lost, all sources" if source == "total" else f"{source} loss"
    return tuple(
        Column(f"{source}_{end}kg_ha", f"{words}{tail}", unit="kg/ha", least=-1e6)
        for end, tail in (("", ""), ("low_", ", 5 % of the interval"), ("high_", ", 95 % of the interval"))
    )


POINTS = Contract(
    "POINTS",
    "one record of a machine's log",
    "Point",
    (
        Column("time", "when it was logged, UTC", "time", optional=True),
        Column("record", "running number, where rows do not stand in the order of harvest", optional=True),
        Column("mass_flow_kg_s", "grain through the elevator, wet", unit="kg/s", optional=True),
        Column("yield_kg_ha", "grain at market moisture", unit="kg/ha", optional=True),
        Column("moisture_pct", "grain water, wet basis", unit="%", optional=True),
        Column("speed_m_s", "ground speed", unit="m/s", optional=True),
        Column("distance_m", "driven since the last record", unit="m", optional=True),
        Column("interval_s", "time since the last record", unit="s", optional=True),
        Column("width_m", "header width at work", unit="m", optional=True),
        Column("heading_deg", "course over ground", unit="deg", optional=True),
        Column("elevation_m", "height", unit="m", optional=True),
        Column("machine", "which combine", "text"),
        Column("log", "which file of the field", "whole", least=0),
        Column("pass_id", "which pass; -1 where passes cannot be told", "whole", least=-1, optional=True),
        Column("work", "1 working, 0 header up", least=0, most=1, optional=True),
        Column("flag", 'why it is not believed; "" where it is', "text", gaps=False, optional=True),
        Column("fresh_width_m", "width that no earlier record had cut", unit="m", least=0, optional=True),
    ),
)

COUNTS = Contract(
    "COUNTS",
    "one laying-down of the frame or frames",
    "Point",
    (
        Column("stop_id", "which stop", "text", gaps=False),
        Column("position", "before_header, behind_header or behind_combine", "text", gaps=False),
        Column("seeds", "seeds counted", least=0, most=1e6),
        Column("grams", "seed weighed instead of counted", unit="g", least=0, most=1e6),
        Column("ears", "whole ears found", least=0, most=1e5),
        Column("grams_per_ear", "grain of one ear", unit="g", least=0, most=2000),
        Column("frame_m2", "area of all frames of the row together", unit="m2", least=1e-4, most=1e5, gaps=False),
        Column("frames", "how many frames were laid and summed", least=1, most=1e4, gaps=False),
        Column("time", "when", "time", optional=True),
        Column("note", "what the counter wrote", "text"),
    ),
)

LOSSES = Contract(
    "LOSSES",
    "one stop",
    "Point",
    (
        Column("stop_id", "which stop", "text", gaps=False),
        *_loss("preharvest"),
        *_loss("header"),
        *_loss("threshing"),
        *_loss("total"),
        Column("seeds_before_header", "seeds counted there", least=0),
        Column("seeds_behind_header", "seeds counted there", least=0),
        Column("seeds_behind_combine", "seeds counted there", least=0),
        Column("frame_m2_before_header", "area looked at there", unit="m2", least=0),
        Column("frame_m2_behind_header", "area looked at there", unit="m2", least=0),
        Column("frame_m2_behind_combine", "area looked at there", unit="m2", least=0),
        Column("concentration", "how much denser residue lies behind the combine than it was cut: cut width over discharge width", least=0),
        Column("weighed", "share of the seeds that were weighed, whose loss does not hang on a seed's mass", least=0, most=1),
        *(Column(f"ears_{position}", "ears counted there", least=0, optional=True) for position in POSITIONS),
        *(Column(f"ear_m2_{position}", "area looked at for ears there", unit="m2", least=0, optional=True) for position in POSITIONS),
        Column("ear_g", "grain on one ear", unit="g", least=0, optional=True),
        Column("ear_doubt", "log standard deviation of that", least=0, optional=True),
        Column("speed_m_s", "ground speed where it was cut", unit="m/s", optional=True),
        Column("moisture_pct", "grain moisture where it was cut", unit="%", optional=True),
        Column("mass_flow_kg_s", "grain flow where it was cut", unit="kg/s", optional=True),
        Column("note", "what the counter wrote, and what could not be separated", "text"),
    ),
)

CELLS = Contract(
    "CELLS",
    "one grid cell inside the boundary",
    "Point",
    (
        Column("row", "row of the grid, 0 in the north", "whole", least=0),
        Column("col", "column of the grid, 0 in the west", "whole", least=0),
        Column("loss_kg_ha", "loss", unit="kg/ha", least=0),
        Column("loss_low_kg_ha", "5 % of the interval", unit="kg/ha", least=0),
        Column("loss_high_kg_ha", "95 % of the interval", unit="kg/ha", least=0),
        Column("speed_m_s", "ground speed", unit="m/s", optional=True),
        Column("moisture_pct", "grain moisture", unit="%", optional=True),
        Column("yield_kg_ha", "grain at market moisture", unit="kg/ha", optional=True),
    ),
)

ZONES = Contract(
    "ZONES",
    "one flagged zone",
    "Polygon",
    (
        Column("zone_id", "letter of the zone", "text", gaps=False),
        Column("reason", "speed or dryness", "text", gaps=False),
        Column("area_ha", "area", unit="ha", least=0),
        *(
            Column(f"{what}_{end}kg_ha", words, unit="kg/ha")
            for what, words in (("loss", "loss in the zone"), ("excess", "above the reference speed or moisture"))
            for end in ("", "low_", "high_")
        ),
        Column("chance_pct", "chance that the zone's excess is above nothing", unit="%", least=0, most=100),
        Column("why", "the zone in one plain sentence", "text", gaps=False),
    ),
)

PLAN = Contract(
    "PLAN",
    "one stop to count next",
    "Point",
    (
        Column("stop", "its name, none of a stop counted already", "text", gaps=False),
        Column("rank", "order of usefulness, 1 the most useful", "whole", least=1, gaps=False),
        Column("reason", "what it tells most about: place, speed or dryness", "text", gaps=False),
        Column("part", "where in the field: north-west, middle, ...", "text", gaps=False),
        Column("nearest_m", "distance to the nearest stop counted, or of higher rank", unit="m", least=0),
        Column("frames", "frames to lay at each position", "whole", least=1, gaps=False),
        Column("speed_m_s", "ground speed where it was cut", unit="m/s", optional=True),
        Column("speed_rank_pct", "share of the ground cut slower", unit="%", least=0, most=100, optional=True),
        Column("moisture_pct", "grain moisture where it was cut", unit="%", optional=True),
        Column("moisture_rank_pct", "share of the ground cut drier", unit="%", least=0, most=100, optional=True),
    ),
)

WEATHER = Contract(
    "WEATHER",
    "one day at one place",
    "",
    (
        Column("day_on", "which day, local", "day", gaps=False),
        Column("tmin_c", "lowest temperature", unit="C", least=-60, most=60),
        Column("tmax_c", "highest temperature", unit="C", least=-60, most=60),
        Column("rain_mm", "rain, melted snow included", unit="mm", least=0, most=2000),
        Column("rh_pct", "mean relative humidity", unit="%", least=0, most=100),
        Column("dewpoint_c", "mean dew point", unit="C", least=-80, most=40),
    ),
)

SEASON = Contract(
    "SEASON",
    "one field of a season",
    "Polygon",
    (
        Column("field_id", "its folder, below the season's", "text", gaps=False),
        Column("name", "its name in field.toml; the folder's where that cannot be read", "text", gaps=False),
        Column("crop", 'crop; "" where it is not known', "text", gaps=False),
        Column("error", 'why there is no map; "" where there is one', "text", gaps=False),
        Column("remade", "1 mapped in this run, 0 taken over unchanged or failed", "whole", least=0, most=1),
        Column("seconds", "seconds that it took in this run", least=0),
        Column("area_ha", "area", unit="ha", least=0),
        Column("points", "records read", least=0),
        Column("points_kept", "records believed", least=0),
        Column("stops", "stops counted", least=0),
        Column("zones", "flagged zones", least=0),
        *(column for source in ("total", *SOURCES) for column in _loss(source)),
        Column("total_pct", "loss in the total yield", unit="%"),
        Column("yield_kg_ha", "grain at market moisture", unit="kg/ha", least=0),
        Column("speed_m_s", "mean ground speed", unit="m/s", least=0),
        Column("moisture_pct", "mean moisture", unit="%", least=0, most=100),
        Column("loss_usd", "what the loss would have sold for", unit="USD"),
        *(Column(f"{driver}_verdict", f"verdict on {words}", "text", gaps=False) for driver, words in DRIVER_WORDS.items()),
        *(Column(f"{driver}_rests_on", 'what the verdict rests on: "own counts", "season" or ""', "text", gaps=False) for driver in DRIVE),
        *(Column(factor, "as field.toml says", "text", gaps=False) for factor in FACTORS),
    ),
)
