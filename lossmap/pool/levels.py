"""Headers, machines, operators, varieties: fields of one level against all others that tell theirs.

Every comparison of a season counts against every other: a difference is told only where it
holds by Holm's step-down rule over all of them (Holm 1979, from memory), and intervals are
as wide as Bonferroni's rule makes them. Fields of one crop are compared among themselves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lossmap.base.estimates import NOTHING, Estimate
from lossmap.base.season import FieldEvidence, LevelContrast
from lossmap.base.settings import SeasonSettings
from lossmap.base.tables import FACTORS, SOURCES
from lossmap.pool.losses import LogLosses
from lossmap.pool.regression import Contrast, contrast

__all__ = ["contrasts", "entangled"]

Bools = npt.NDArray[np.bool_]
Test = tuple[str, frozenset[bytes]]

#: What is compared for each factor: who drives and with what also tells in the machine.
SOURCES_OF = {factor: ("header", "threshing", "total") if factor in ("machine", "operator") else ("header", "total") for factor in FACTORS}
# Fewer fields than this on either side are not compared: one field's own ground would be told as its header's doing.
LEAST_FIELDS = 2
# Log ratio beyond which an interval of two or three fields is not followed.
FURTHEST = 50.0
# Chance that the intervals of all comparisons hold their truth.
TOGETHER = 0.9


@dataclass(frozen=True)
class _Comparison:
    """One level's fields beside the others, ``[field]`` of those whose loss is known; `found` is None where they cannot be compared."""

    factor: str
    level: str
    losses: LogLosses
    here: Bools
    there: Bools
    found: Contrast | None

    @property
    def test(self) -> Test:
        """The same for a comparison and its mirror: both ask one question."""
        return self.losses.source, frozenset((self.here.tobytes(), self.there.tobytes()))


def contrasts(fields: Sequence[FieldEvidence], settings: SeasonSettings) -> tuple[LevelContrast, ...]:
    """Every level of every factor against all others, in the order of `FACTORS`, the largest difference first within each."""
    losses = {source: LogLosses.of(fields, source) for source in ("total", *SOURCES)}
    asked = [one for factor in FACTORS for source in SOURCES_OF[factor] for one in _comparisons(losses[source], factor)]
    tests = {one.test: one.found.two_sided() for one in asked if one.found is not None}
    told = _holm(tests, settings.false_contrasts / 100)
    found = [_level(one, len(tests), one.test in told) for one in asked]
    order = list(FACTORS)
    return tuple(sorted(found, key=lambda one: (order.index(one.factor), -_size(one), one.level, one.source)))


def entangled(fields: Sequence[FieldEvidence], found: Sequence[LevelContrast]) -> list[str]:
    """Says which levels that were told stand on the same fields, so that nobody can tell which of them it is."""
    groups: dict[frozenset[str], list[str]] = {}
    for one in dict.fromkeys((one.factor, one.level) for one in found if one.told):
        here = frozenset(field.field_id for field in fields if field.factors.get(one[0]) == one[1])
        groups.setdefault(here, []).append(f"{FACTORS[one[0]]} {one[1]}")
    return [
        f"{' and '.join(names)} stand on the same fields: which of them the loss goes with cannot be told"
        for names in groups.values()
        if len(names) > 1
    ]


def _comparisons(losses: LogLosses, factor: str) -> list[_Comparison]:
    levels = np.array([field.factors.get(factor, "") for field in losses.fields], dtype=object)
    found = []
    for level in dict.fromkeys(levels[levels != ""].tolist()):
        here = levels == level
        there = (levels != "") & ~here
        if there.any():
            found.append(_Comparison(factor, level, losses, here, there, _compared(losses, here, there)))
    return found


def _compared(losses: LogLosses, here: Bools, there: Bools) -> Contrast | None:
    """None where either side has too few fields of a crop that both sides have."""
    shared = np.isin(losses.crop, np.intersect1d(losses.crop[here], losses.crop[there])) & (here | there)
    if min((here & shared).sum(), (there & shared).sum()) < LEAST_FIELDS:
        return None
    return contrast(losses.log[shared], losses.variance[shared], here[shared].astype(float), losses.crop[shared])


def _holm(tests: Mapping[Test, float], error: float) -> set[Test]:
    """Comparisons that hold with all of them counted; none whose widened interval would hold no difference."""
    told: set[Test] = set()
    for rank, (test, chance) in enumerate(sorted(tests.items(), key=lambda item: item[1])):
        if chance > min(error / (len(tests) - rank), (1 - TOGETHER) / len(tests)):
            break
        told.add(test)
    return told


def _level(one: _Comparison, tests: int, is_told: bool) -> LevelContrast:
    named = (one.factor, one.level, one.losses.source, int(one.here.sum()), int(one.there.sum()))
    if one.found is None:
        return LevelContrast(*named, NOTHING, NOTHING, math.nan, False)
    log = one.found.interval(1 - (1 - TOGETHER) / tests)
    ratio = Estimate(*(math.exp(min(part, FURTHEST)) for part in (log.mean, log.low, log.high)))
    usual = one.losses.mean(one.there)
    worth = Estimate(*(usual * (part - 1) for part in (ratio.mean, ratio.low, ratio.high)))
    return LevelContrast(*named, ratio, worth, one.found.chance(), is_told)


def _size(one: LevelContrast) -> float:
    return abs(math.log(one.ratio.mean)) if one.ratio else -1.0
