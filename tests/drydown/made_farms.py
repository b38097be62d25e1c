"""Small farms to plan for."""

from __future__ import annotations

import dataclasses
import datetime
import functools

import pandas as pd

from lossmap.base.rank_settings import RankSettings
from lossmap.base.settings import build
from lossmap.drydown.plan import rank
from lossmap.synthetic_farm import FarmPlan, made_farm

ON = FarmPlan().on


@functools.cache
def made(fields=6, rng_seed=1, combines=1):
    """A made farm with ten past years."""
    return made_farm(FarmPlan(fields=fields, combines=combines, years=10), rng_seed)


def quick(**more):
    """Settings that plan in a second."""
    return build(RankSettings, {"doubt": {"seasons": 40}, "search": {"rounds": 3, "slot": "1 h"}} | more, "test")


def record(farm, until=ON):
    """Past years, and the season up to a day."""
    return pd.concat([farm.past, farm.season[farm.season["day_on"] < pd.Timestamp(until)]])


@functools.cache
def ranked(fields=6, rng_seed=1, combines=1):
    """A plan."""
    of = made(fields, rng_seed, combines)
    return rank(of.farm, record(of), ON, quick())


def changed(farm, number, **facts):
    """The farm with one field's facts changed."""
    fields = list(farm.fields)
    fields[number] = dataclasses.replace(fields[number], **facts)
    return dataclasses.replace(farm, fields=tuple(fields))


def days(number):
    """After the plan's day."""
    return ON + datetime.timedelta(days=number)
