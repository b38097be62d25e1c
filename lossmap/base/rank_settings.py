"""Every choice of a ranking, in the order in which the data meets it; facts about a farm live in its ``farm.toml``."""

from __future__ import annotations

from typing import Literal

import pydantic

from lossmap.base.errors import near, shown
from lossmap.base.reference import waiting
from lossmap.base.settings import Days, DollarsPerMetre, Hours, MetresPerSecond, Millimetres, Percent, Strict, setting

__all__ = ["DoubtSettings", "HoursSettings", "MoveSettings", "PageSettings", "RankSettings", "SearchSettings", "YearSettings"]


class YearSettings(Strict):
    """Weather that may come: past years of the same days, the first days replaced by a forecast where given."""

    season: Days = setting("75 d", ge=20, le=200, description="how far ahead is looked; longer where the work does not fit")
    least_years: int = setting(5, ge=2, le=100, description="below this many whole years nothing is said of what may come")
    forecast: Days = setting("10 d", ge=0, le=30, description="days of a forecast that are believed; beyond, past years say as much")
    gaps: Percent = setting("10 %", ge=0, le=50, description="share of days a past year may lack before it is left out")
    dewpoint_below_tmin_c: float = setting(
        0.0, ge=0, le=10, description="C that the dew point lies below the night's lowest where no humidity is given (1 to 2 in dry places)"
    )


class HoursSettings(Strict):
    """Hours fit for harvest (assumptions; they give 5 to 6 days a week in the middle of the season)."""

    short_day: Percent = setting("75 %", ge=20, le=100, description="hours of a day late in the season, of those at its start")
    rain_half: Millimetres = setting("1 mm", ge=0, le=50, description="rain that leaves half the day")
    rain_none: Millimetres = setting("4 mm", ge=0, le=100, description="rain that leaves none of it")
    next_half: Millimetres = setting("6 mm", ge=0, le=200, description="rain that leaves half of the next day")
    next_none: Millimetres = setting("20 mm", ge=0, le=300, description="rain that leaves none of the next day")
    third_half: Millimetres = setting("25 mm", ge=0, le=300, description="rain that leaves half of the day after that")


class MoveSettings(Strict):
    """Going from field to field (assumptions)."""

    road_speed: MetresPerSecond = setting("14 mph", ge=1, le=20, description="of a combine on the road, as the crow flies")
    setup: Hours = setting("0.6 h", ge=0, le=12, description="header off and on, opening the field, even to a neighbouring one")
    cost: DollarsPerMetre = setting("6 USD/mile", ge=0, le=1, description="of a combine and what goes with it on the road")


class DoubtSettings(Strict):
    """What is not known; seasons are drawn with it."""

    seasons: int = setting(200, ge=20, le=5000, description="seasons drawn: past weather with errors of reading, drying and loss")
    moisture_error_pct: float = setting(
        1.0, ge=0.1, le=5, description="standard error of a moisture reading standing for its field [points]"
    )
    drying: Percent = setting("12 %", ge=0, le=100, description="standard error of a field's own drying rate before two readings tell it")
    loss: Percent = setting("40 %", ge=0, le=200, description="standard error (log) of losses by the published ranges, by crop and source")


class SearchSettings(Strict):
    """The search for the best order; limited by rounds, never by the clock: same seed, same plan."""

    slot: Hours = setting("0.5 h", ge=0.1, le=4, description="step of the timetable")
    rounds: int = setting(60, ge=0, le=100_000, description="times the best order is shaken and mended again")
    proof: Hours = setting(
        "0 s", ge=0, le=2, description="time for a proof of how far the order is from the best of all (moves left out); 0: none"
    )


class PageSettings(Strict):
    """What people read."""

    units: Literal["us", "metric"] = setting("us", description="ac, bu/ac, F or ha, kg/ha, C on the page")
    first_block: Days = setting("3 d", ge=1, le=30, description='fields likely to be started within this are "now"')
    second_block: Days = setting("10 d", ge=1, le=60, description='and within this, "next"; all others are "later"')
    firm: float = setting(0.8, ge=0.5, le=1, description="chance from which one field before another is a firm statement")
    likely: float = setting(0.6, ge=0.5, le=1, description="chance from which it is likely; below, a toss-up")
    tossup_usd_ac: float = setting(
        0.5, ge=0, le=50, description="gain below which it is a toss-up whatever its chance [USD/ac of the pair]"
    )


class RankSettings(Strict):
    """Every choice of an order of harvest; ``RankSettings()`` holds the defaults."""

    rng_seed: int = pydantic.Field(1, ge=0, le=2**32 - 1, description="same seed, same bytes")
    years: YearSettings = YearSettings()
    hours: HoursSettings = HoursSettings()
    moves: MoveSettings = MoveSettings()
    doubt: DoubtSettings = DoubtSettings()
    search: SearchSettings = SearchSettings()
    page: PageSettings = PageSettings()
    figures: dict[str, dict[str, float]] = pydantic.Field(
        default_factory=dict,
        description="figures of drying and loss by crop that replace those of the reference table, "
        "as figures.corn.header_per_dry_point = 0.004",
    )

    @pydantic.field_validator("figures")
    @classmethod
    def _known_figures(cls, figures: dict[str, dict[str, float]]) -> dict[str, dict[str, float]]:
        for crop, of_crop in figures.items():
            try:
                known = waiting(crop)
            except LookupError as unknown:
                raise ValueError(str(unknown)) from unknown
            for name in of_crop:
                if name not in known:
                    raise ValueError(f"{shown(name)} is no figure of {crop}; {near(name, known)}")
        return figures
