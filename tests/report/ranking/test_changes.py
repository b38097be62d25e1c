"""What is different from the last plan."""

from __future__ import annotations

import dataclasses
import datetime

from drydown.made_farms import ON, ranked

from lossmap.report.ranking.changes import changes
from lossmap.report.ranking.files import values_of_ranking


def test_what_changed():
    """Fields cut, new readings, another first field, fields that moved; nothing before the first plan."""
    ranking = ranked()
    before = values_of_ranking(ranking)
    assert changes(None, ranking) == []
    assert changes({"fields": "nonsense"}, ranking) == []
    assert changes(before, ranking) == ["Nothing of note since the plan of 25 Sep."]
    first, second = ranking.fields[0], ranking.fields[1]
    farm = dataclasses.replace(
        ranking.farm,
        fields=tuple(dataclasses.replace(f, cut_on=ON) if f.name == first.field.name else f for f in ranking.farm.fields),
    )
    fresh = dataclasses.replace(
        second,
        field=dataclasses.replace(
            second.field,
            readings=(
                *second.field.readings,
                dataclasses.replace(second.field.readings[0], on=ON + datetime.timedelta(days=2), moisture_pct=17.3),
            ),
        ),
    )
    lines = changes(before, dataclasses.replace(ranking, farm=farm, fields=(*reversed(ranking.fields[2:]), fresh)))
    assert lines[0] == f"Cut since 25 Sep: {first.field.name}."
    assert lines[1].startswith(f"New readings: {second.field.name} (17.3 %, was ")
    assert lines[2] == f"The first field is now {ranking.fields[-1].field.name}; it was {first.field.name} (cut)."
    assert lines[3].startswith("Moved among those left: ")
