"""All fields of a season together, from what each brings."""

from __future__ import annotations

import math
from collections.abc import Sequence

from lossmap.base.estimates import NOTHING
from lossmap.base.season import FieldEvidence, Pooled, PooledDriver
from lossmap.base.settings import SeasonSettings
from lossmap.base.tables import DRIVE, DRIVER_WORDS
from lossmap.pool.drivers import pooled_driver
from lossmap.pool.levels import contrasts, entangled
from lossmap.pool.losses import mean_losses

__all__ = ["pool"]


def pool(evidence: Sequence[FieldEvidence], settings: SeasonSettings) -> Pooled:
    """What the fields of a season say together; nothing is fitted again.

    Parameters
    ----------
    evidence : sequence of FieldEvidence
        Of every mapped field, each with its own `field_id`; their order changes nothing. None at all says nothing.
    settings : SeasonSettings

    Returns
    -------
    Pooled
        Slopes tell of contrasts within fields alone. No number of fields removes what goes
        along with a driver in all of them: loss *tracks* it.
    """
    fields = sorted(evidence, key=lambda field: field.field_id)
    found = {name: pooled_driver(name, fields, settings) for name in DRIVE}
    drivers = {name: driver for name, (driver, _) in found.items()}
    if not fields:
        return Pooled(drivers=drivers)
    compared = contrasts(fields, settings)
    return Pooled(
        fields=len(fields),
        area_ha=math.fsum(field.area_ha for field in fields),
        loss=mean_losses(fields),
        by_crop={crop: mean_losses([field for field in fields if field.crop == crop]) for crop in sorted({field.crop for field in fields})},
        drivers=drivers,
        curves={name: curve for name, (_, curve) in found.items()},
        contrasts=compared,
        notes=(*_notes(fields, drivers), *entangled(fields, compared)),
    )


def _notes(fields: Sequence[FieldEvidence], drivers: dict[str, PooledDriver]) -> list[str]:
    notes = []
    if uncounted := sum(not field.loss.get("total", NOTHING) for field in fields):
        notes.append(f"{_said(uncounted, len(fields), 'tell', 'no loss, and')} {_verb(uncounted, 'count')} in no mean of it")
    for name, driver in drivers.items():
        if driver.fields and (silent := len(fields) - driver.fields):
            of_driver = f"nothing of {DRIVER_WORDS[name]}, and"
            notes.append(f"{_said(silent, len(fields), 'tell', of_driver)} {_verb(silent, 'change')} nothing there")
        if driver.verdict == "tracks":
            notes.append(
                f"whatever goes along with {DRIVER_WORDS[name]} in all fields is not told from it, however many fields are pooled: "
                "loss tracks it, which is not to say that it causes the loss"
            )
    return notes


def _said(number: int, of: int, verb: str, what: str) -> str:
    return f"{number:,} {'field' if number == 1 else 'fields'} of {of:,} {_verb(number, verb)} {what}"


def _verb(number: int, verb: str) -> str:
    return f"{verb}s" if number == 1 else verb
