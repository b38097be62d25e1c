"""The choices of a map, of a plan of stops and of a season, each with unit, default, limits and why."""

from __future__ import annotations

import re
from typing import Literal

import pydantic

from lossmap.base.errors import shown
from lossmap.base.settings.typed import (
    Degrees,
    DollarsPerHour,
    Hectares,
    Metres,
    MetresPerSecond,
    Percent,
    Seconds,
    Strict,
    setting,
)

__all__ = [
    "UNHEEDED",
    "CleanSettings",
    "GridSettings",
    "LossSettings",
    "ReportSettings",
    "SeasonSettings",
    "Settings",
    "StopSettings",
    "SurfaceSettings",
    "ZoneSettings",
]


class GridSettings(Strict):
    """The field's one raster."""

    cell: Metres = setting("5 m", ge=1, le=50, description="side of a cell; about the length a combine's flow smears over in 2 s")


class CleanSettings(Strict):
    """Which points can be believed (cleaning steps in the order in which they run)."""

    flow_delay: Seconds | None = setting(
        None,
        ge=-30,
        le=60,
        examples=["12 s"],
        description="how late mass flow is; without it, estimated, and moved only where that is clear (most loggers move it)",
    )
    moisture_delay: Seconds | None = setting(
        None,
        ge=-30,
        le=60,
        examples=["11 s"],
        description="how late moisture is; without it, estimated, and moved only where that is clear (often 8-14 s late)",
    )
    jump_speed: MetresPerSecond = setting(
        "6 m/s", ge=1, le=30, description="no combine moves faster between two records; a quicker step is a position fault"
    )
    turn: Degrees = setting("45 deg", ge=10, le=180, description="change of course over a few records that ends a pass")
    least_flow: Percent = setting(
        "3 %", ge=0, le=50, description="flow (or yield) below this share of the log's middle value is a machine that is not working"
    )
    pass_start: Seconds = setting("3 s", ge=0, le=60, description="flow still fills the machine (ramps of an open maize log: 3 s)")
    pass_end: Seconds = setting("6 s", ge=0, le=60, description="flow runs out behind the crop's edge (same log: 6 s)")
    shortest_pass: Seconds = setting("24 s", ge=0, le=300, description="shorter passes never leave their ramps")
    speed_change: Percent = setting(
        "20 %",
        ge=5,
        le=200,
        description="step of speed between records beyond which area and flow are out of step; a level is never refused",
    )
    least_width: Percent = setting(
        "50 %", ge=0, le=100, description="fresh share of the header's width below which yield is a ratio of small numbers"
    )
    field_limits: float = setting(
        4.0, ge=2, le=20, description="points further than this many robust standard deviations from the field's median are refused"
    )
    neighbour_limit: Percent = setting(
        "50 %", ge=10, le=500, description="departure from the median of the neighbours beyond which a point is refused"
    )
    stuck_moisture: Seconds = setting(
        "60 s",
        ge=10,
        le=3600,
        description="moisture that reads the same for longer, and far longer than it usually does, is a stuck sensor",
    )
    match_machines: bool = setting(
        False,
        description="bring several machines of one field to one level (their sensors are rarely calibrated alike); the field's mass stays",
    )
    boundary_margin: Percent = setting(
        "50 %", ge=0, le=500, description="share of the header's width that a point may lie outside a given boundary"
    )


class LossSettings(Strict):
    """From counted seeds to loss by source."""

    seed_mass_doubt: Percent = setting(
        "3 %", ge=0, le=50, description="standard error of a thousand-seed mass given in field.toml (common practice, no source)"
    )
    ear_mass_doubt: Percent = setting("30 %", ge=0, le=100, description="standard error of the grain on one ear where it was not weighed")
    join_distance: Metres = setting(
        "12 m", ge=1, le=200, description="a stop takes speed and moisture from records this near; about one header's width"
    )
    position_scatter: Metres = setting(
        "2 m", ge=0, le=100, description="frames of one stop further apart than this and join_distance together are refused"
    )


class SurfaceSettings(Strict):
    """From values at places to surfaces."""

    smoothing: float = setting(1.3, ge=0.3, le=10, description="standard deviation of the Gaussian over the machine's layers [cells]")
    gap: Metres = setting("12 m", ge=1, le=200, description="machine layers are not drawn further than this from a believed point")
    least_stops: int = setting(8, ge=3, le=1000, description="below this many stops the loss is one field mean, not a surface")
    least_seeds: int = setting(30, ge=1, le=10_000, description="below this many seeds counted in all the loss is one field mean")


class ZoneSettings(Strict):
    """Where loss tracks speed or dryness."""

    speed_above: MetresPerSecond | None = setting(
        None, examples=["4.5 mph"], description="reference speed; without it, averaged over plausible ones from the field's own speeds"
    )
    moisture_below: Percent | None = setting(
        None, examples=["13 %"], description="reference moisture; without it, averaged over plausible ones from the field's own moistures"
    )
    tracks_chance: float = setting(
        0.985,
        ge=0.8,
        le=0.9999,
        description="posterior chance of a positive slope from which loss 'tracks' (1 to 4 of 100 fields without a link are flagged)",
    )
    surrogates: int = setting(
        0,
        ge=0,
        le=9999,
        description="random maps as smooth as the speed or moisture map, drawn for a second opinion on each verdict (99 do; 0: none)",
    )
    zone_chance: float = setting(
        0.8, ge=0.5, le=0.999, description="chance that a cell loses more than the least excess before it joins a zone"
    )
    least_excess: Percent = setting(
        "10 %", ge=0, le=200, description="excess over the reference that matters, as a share of the field's mean loss"
    )
    least_area: Hectares = setting("0.2 ha", ge=0, le=100, description="smaller zones are not drawn: nobody drives differently for them")


class StopSettings(Strict):
    """Where to count next."""

    number: int = setting(
        24, ge=1, le=500, description="stops of a plan; what one or two people count in a day (common practice, no source)"
    )
    frames: int = setting(
        4,
        ge=1,
        le=50,
        description="frames to lay at each position of a planned stop; for the walk to it four tell far more than one "
        "(simulations: 24 stops of four frames map as well as 48 to 96 of one)",
    )


class SeasonSettings(Strict):
    """Every field below a folder, and what they say together."""

    tracks_chance: float = setting(
        0.98,
        ge=0.8,
        le=0.9999,
        description="posterior chance of a positive mean slope from which loss 'tracks' over the fields together "
        "(about 3 of 100 seasons without a link are flagged)",
    )
    borrow_chance: float = setting(
        0.9,
        ge=0.8,
        le=0.9999,
        description="posterior chance, by its own counts and the season's, from which one field's verdict may rest on the season",
    )
    false_contrasts: Percent = setting(
        "5 %",
        ge=0.1,
        le=50,
        description="chance that any header, machine, operator, variety, row spacing or population of a season is told apart from the "
        "others without cause, all comparisons together",
    )
    field_limit: Seconds = setting(
        "1800 s",
        ge=1,
        le=604_800,
        description="a field that takes longer is stopped, and the season goes on without it; a large one takes a minute",
    )


# A server and a path; of the signs a path may hold none ends a text or a policy.
_TILES = re.compile(r"https://[a-z0-9][a-z0-9.-]*(:[0-9]{1,5})?/[A-Za-z0-9_.~/?&=@+%{}-]+")


class ReportSettings(Strict):
    """What people read."""

    units: Literal["us", "metric"] = setting("us", description="bu/ac, mph, ac or kg/ha, km/h, ha on every page")
    price: str | None = setting(
        None, examples=["4.20 USD/bu"], description='price of the grain, as "4.20 USD/bu" or "170 USD/t"; without it no money is shown'
    )
    hour_value: DollarsPerHour | None = setting(
        None,
        ge=1,
        le=100_000,
        examples=["300 USD/h"],
        description="what an hour of the combine is worth: machine, crew and whatever waits behind it; with it and the price, "
        "the report says down to which speed slower pays",
    )
    field_efficiency: Percent = setting(
        "70 %",
        ge=10,
        le=100,
        description="share of the hours in the field that is spent cutting (combines 65 to 80 %, typically 70 %: ASABE D497, from memory)",
    )
    basemap: str | None = setting(
        None,
        examples=["https://tiles.example.org/{z}/{x}/{y}.png"],
        description="pictures of the ground from a server of yours, offered on the map as a tick that is off until somebody sets it; "
        "without it the map can ask nobody. A key in the address is readable to all who get the file",
    )
    basemap_credit: str | None = setting(
        None, examples=["(c) the server's owner"], description="whom the server wants named under its pictures"
    )

    @pydantic.field_validator("basemap")
    @classmethod
    def _one_host(cls, address: str | None) -> str | None:
        """One server by its name, so that the page can name it and be held to it."""
        if address is None or (_TILES.fullmatch(address) and all(address.count(part) == 1 for part in ("{z}", "{x}", "{y}"))):
            return address
        example = "https://tiles.example.org/{z}/{x}/{y}.png"
        raise ValueError(
            f'"{shown(address)}" is no address of map pictures; write for example "{example}", with {{z}}, {{x}} and {{y}} once each'
        )


class Settings(Strict):
    """Every choice of a map, of a plan of stops and of a season; ``Settings()`` holds the defaults, `read_settings` reads others."""

    rng_seed: int = setting(1, ge=0, le=2**32 - 1, description="same seed, same bytes")
    grid: GridSettings = GridSettings()
    clean: CleanSettings = CleanSettings()
    loss: LossSettings = LossSettings()
    surfaces: SurfaceSettings = SurfaceSettings()
    zones: ZoneSettings = ZoneSettings()
    stops: StopSettings = StopSettings()
    season: SeasonSettings = SeasonSettings()
    report: ReportSettings = ReportSettings()


#: Parts of a field's settings that a command does not look at: what it writes does not rest on them.
UNHEEDED = {"map": ("stops", "season"), "stops": ("season",), "season": ("stops",)}
