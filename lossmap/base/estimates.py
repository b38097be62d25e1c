"""Numbers with their doubt, and what a field's evidence says about a driver of loss."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

__all__ = [
    "MODERATE",
    "NOTHING",
    "STEPS",
    "Z90",
    "Beginning",
    "Delay",
    "Driver",
    "EffectCurve",
    "Estimate",
    "Pace",
    "PaceVerdict",
    "ReelSpeed",
    "SlopeEvidence",
    "StatedTiming",
    "Verdict",
    "lognormal",
    "normal_points",
]

#: One step of each driver, in its slope's unit and in words.
STEPS = {"speed": (0.5, "+0.5 m/s"), "dryness": (2.0, "-2 points")}

#: Effect of one step that would matter to an operator (common practice, no source).
MODERATE = {"speed": 1.49, "dryness": 1.65}

#: Half of a 90 % interval, in standard deviations of a normal distribution.
Z90 = 1.6448536269514722

#: Evidence holds; enough counts and no link; the counts could not have shown a moderate link.
Verdict = Literal["tracks", "no sign", "not enough counts"]

#: A range of speeds can be told; the range is most of what was driven; loss was not seen to track speed;
#: the value of an hour or of the grain was not given; the loss or the speeds are not known.
PaceVerdict = Literal["told", "not told apart", "no link", "not priced", "not known"]


@dataclass(frozen=True)
class Estimate:
    """A value and its 90 % interval, all in one unit; NaN where nothing can be said."""

    mean: float
    low: float
    high: float

    def __bool__(self) -> bool:
        """Whether anything is known."""
        return math.isfinite(self.mean)

    @property
    def log_sd(self) -> float:
        """Standard deviation of the logarithm of a log-normal with this interval."""
        return math.log(self.high / self.low) / (2 * Z90)

    def times(self, by: float) -> Estimate:
        """The same in another unit (`by` > 0)."""
        return Estimate(self.mean * by, self.low * by, self.high * by)


NOTHING = Estimate(math.nan, math.nan, math.nan)


def lognormal(mean: float, log_variance: float, further_doubt: float = 0.0) -> Estimate:
    """Mean with the 90 % interval of a log-normal whose logarithm has that variance, and a `further_doubt` (log sd) on top.

    What is doubted further moves no mean; an interval all of which lies below the mean is stretched to it.
    """
    middle, spread = mean * math.exp(-log_variance / 2), Z90 * math.sqrt(log_variance + further_doubt**2)
    return Estimate(mean, middle * math.exp(-spread), max(mean, middle * math.exp(spread)))


def normal_points(number: int) -> npt.NDArray[np.float64]:
    """Ascending values of a standard normal, each as likely as the next: the middles of slices of equal probability, ``[number]``."""
    return np.asarray(ndtri((np.arange(number) + 0.5) / number))


@dataclass(frozen=True)
class Delay:
    """How late a sensor's readings are [s], and whether they were shifted by that.

    `curve` holds, where the delay was estimated, each delay tried [s] and how much
    neighbouring passes then differ, as a share of what they differ by unmoved.
    """

    seconds: float
    low: float
    high: float
    applied: bool
    note: str
    curve: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class StatedTiming:
    """What a machine's log says of its own sensors' timing [s], NaN where it does not.

    Attributes
    ----------
    log : int
        Number of the log in POINTS.
    latency_s : float
        How late its readings are (ISO 11783-11, DDI 143).
    setpoint_latency_s : float
        How late it follows a set value (DDI 142).
    lag_ignore_s, lead_ignore_s : float
        How long its yield is not to be believed after it leaves and after it enters work (DDI 259, 260; meaning from memory).
    """

    log: int
    latency_s: float
    setpoint_latency_s: float
    lag_ignore_s: float
    lead_ignore_s: float

    def __bool__(self) -> bool:
        """Whether anything is stated."""
        return any(map(math.isfinite, (self.latency_s, self.setpoint_latency_s, self.lag_ignore_s, self.lead_ignore_s)))


@dataclass(frozen=True)
class Beginning:
    """One place where a driver's effect may begin, and the slope if it begins there.

    Attributes
    ----------
    reference : float
        Speed [m/s] or moisture [%].
    weight : float
        How likely it is beside the others; weights need not add to 1.
    slope, sd : float
        Mean and standard deviation of the slope of log loss from there on.
    """

    reference: float
    weight: float
    slope: float
    sd: float


@dataclass(frozen=True)
class SlopeEvidence:
    """What one field's counts say about the slope of log loss along one driver.

    Attributes
    ----------
    name : "speed" or "dryness"
    slope : Estimate
        Of log loss, per m/s above the reference speed or per point below the reference moisture.
    sd : float
        Standard deviation of the same posterior.
    chance : float
        Posterior probability that the slope is above 0.
    prior_sd : float
        Standard deviation of the slope before anything was seen; its prior mean is 0.
    expected_sd : float
        What `sd` was to be expected from the stops' places, areas, speeds and moistures,
        before their counts were compared.
    reference : float
        Speed [m/s] or moisture [%] where the effect begins, averaged over those tried; NaN
        where the field has no such layer.
    stops : int
        Stops that carried evidence.
    share_kg_ha : Estimate
        Loss over the field that goes with speed above (moisture below) the reference.
    note : str
        Why nothing can be said, where nothing can.
    beginnings : tuple of Beginning
        What `slope` and `reference` are averages of, where that is known.
    coincidence : float
        Share of surrogate maps that go with the counts as well as the driver's own; NaN where none were drawn.
    """

    name: str
    slope: Estimate
    sd: float
    chance: float
    prior_sd: float
    expected_sd: float
    reference: float
    stops: int
    share_kg_ha: Estimate
    note: str = ""
    beginnings: tuple[Beginning, ...] = ()
    coincidence: float = math.nan


@dataclass(frozen=True)
class Driver:
    """Whether loss tracks ground speed or dryness in this field.

    Attributes
    ----------
    name : "speed" or "dryness"
    verdict : Verdict
    effect : Estimate
        Factor on loss for one `effect_step` of the driver: 1.49 means 49 % more.
    effect_step : str
        The step in words: ``"+0.5 m/s"`` or ``"-2 points"``.
    chance : float
        Posterior probability that the effect is above 1.
    reference : float
        Speed [m/s] above which, or moisture [%] below which, the effect is taken to act;
        NaN where the field has no such layer.
    stops : int
        Stops that carried evidence.
    stops_needed : int or None
        Stops like these that would show a moderate effect 8 times in 10; None if unknown.
    share_kg_ha : Estimate
        Loss over the field that goes with speed above (moisture below) the reference.
    note : str
        Why nothing can be said, where nothing can.
    coincidence : float
        Share of surrogate maps that go with the counts as well as the driver's own; NaN where none were drawn.
    """

    name: str
    verdict: Verdict
    effect: Estimate
    effect_step: str
    chance: float
    reference: float
    stops: int
    stops_needed: int | None
    share_kg_ha: Estimate
    note: str = ""
    coincidence: float = math.nan


@dataclass(frozen=True)
class EffectCurve:
    """What an average place of the field loses at each value of a driver, all else being as it is over the field.

    Attributes
    ----------
    at : tuple of float
        Rising speeds [m/s] or moistures [%], none beyond those at which anybody counted.
    loss_kg_ha : tuple of Estimate
        Loss from all sources at each of them: middle and 90 % interval [kg/ha].
    """

    at: tuple[float, ...] = ()
    loss_kg_ha: tuple[Estimate, ...] = ()

    def __bool__(self) -> bool:
        """Whether anything is known."""
        return bool(self.at)


@dataclass(frozen=True)
class Pace:
    """Down to which ground speed slower pays: what an hour costs against what the grain is worth.

    Attributes
    ----------
    verdict : PaceVerdict
        Only ``told`` says a range of speeds; the estimates are `NOTHING` unless it is that or ``not told apart``.
    best_m_s : Estimate
        Speed at which hours and lost grain together cost least: middle and 90 % interval over
        the slopes and losses that the counts leave open [m/s]. Never beyond the speeds driven.
    today_m_s : float
        Mean speed over the field [m/s].
    slowest_m_s, fastest_m_s : float
        5 % and 95 % of the field were driven slower than these [m/s].
    gain_usd_ha, gain_usd_h : Estimate
        What the middle of `best_m_s` throughout saves over `today_m_s` throughout, by area
        [USD/ha] and by hour of the combine at the new speed [USD/h]; below 0 where it costs.
    even_usd_ha, even_usd_h : Estimate
        The same over the speeds as they were driven, fast passes and slow ones.
    hour_usd_h, efficiency_pct : float
        Value of an hour [USD/h] and share of the hours that is spent cutting [%], as taken.
    missing : tuple of str
        Settings without which nothing can be said, where they are missing.
    """

    verdict: PaceVerdict
    best_m_s: Estimate = NOTHING
    today_m_s: float = math.nan
    slowest_m_s: float = math.nan
    fastest_m_s: float = math.nan
    gain_usd_ha: Estimate = NOTHING
    gain_usd_h: Estimate = NOTHING
    even_usd_ha: Estimate = NOTHING
    even_usd_h: Estimate = NOTHING
    hour_usd_h: float = math.nan
    efficiency_pct: float = math.nan
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class ReelSpeed:
    """Speed of the reel's tips over ground speed.

    Attributes
    ----------
    index : float
        At the field's mean ground speed [no unit].
    slow_index, fast_index : float
        At the speeds below which 5 % and 95 % of the field were driven; the index falls with speed.
    mean_m_s : float
        That mean speed [m/s].
    rpm_per_index : float
        Turns of the reel a minute that make an index of 1 at the mean speed [1/min].
    """

    index: float
    slow_index: float
    fast_index: float
    mean_m_s: float
    rpm_per_index: float
