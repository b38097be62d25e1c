"""What the readings of a log mean here: columns of POINTS in SI, and the loss signal beside them.

Numbers and units of entries are those of the ISO 11783-11 data dictionary. The display
scale in a device's description (DVP) is for its own screen and is not used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from lossmap.base.errors import shown
from lossmap.base.estimates import StatedTiming
from lossmap.base.grid import Floats
from lossmap.base.units import factor
from lossmap.read.raw import Detected
from lossmap.read.taskdata.readings import Reading, Readings, carried

__all__ = ["KNOWN", "LOSS_SIGNAL", "WET_YIELD", "YIELD", "Roles", "roles_of", "timing_of"]

#: Yield per area as it came from the field; POINTS holds it at market moisture.
WET_YIELD = "wet_yield_kg_ha"


@dataclass(frozen=True)
class _Quantity:
    """One entry: its unit, how many of that a raw one is, and the unit here."""

    unit: str
    step: float
    to: str

    @property
    def factor(self) -> float:
        return self.step * factor(self.unit, self.to)

    @property
    def words(self) -> str:
        return self.unit if self.step == 1 else f"{self.step:g} {self.unit}"


_MASS_FLOW, _VOLUME_FLOW, _MASS_YIELD, _VOLUME_YIELD, _DENSITY = 0x57, 0x56, 0x54, 0x53, 0x79
_MOISTURE, _SPEED, _WIDTH, _MOST_WIDTH, _WORK = 0x63, 0x18D, 0x43, 0x46, 0x8D
_CONDENSED = range(0xA1, 0xB1)
_LATENCIES = (0x8F, 0x8E, 0x103, 0x104)
_TOTALS = (0x5A, 0x74, 0x75)

_QUANTITIES = {
    _MASS_FLOW: _Quantity("mg/s", 1, "kg/s"),
    _VOLUME_FLOW: _Quantity("L/s", 0.001, "L/s"),
    _MASS_YIELD: _Quantity("mg/m2", 1, "kg/ha"),
    _VOLUME_YIELD: _Quantity("L/m2", 0.001, "L/ha"),
    _DENSITY: _Quantity("mg/L", 1, "kg/L"),
    _MOISTURE: _Quantity("ppm", 1, "percent"),
    _SPEED: _Quantity("mm/s", 1, "m/s"),
    _WIDTH: _Quantity("mm", 1, "m"),
    _MOST_WIDTH: _Quantity("mm", 1, "m"),
    0x5C: _Quantity("L/m2", 0.001, "L/ha"),
    0x5D: _Quantity("mg/m2", 1, "kg/ha"),
    0x5E: _Quantity("1/m2", 0.001, "1/m2"),
    0x5F: _Quantity("L/s", 0.001, "L/s"),
    0x60: _Quantity("mg/s", 1, "kg/s"),
    0x61: _Quantity("1/s", 0.001, "1/s"),
    0x62: _Quantity("ppm", 1, "percent"),
}

#: Column of each entry of the machine's own loss sensors. They tell more from less, not how much lies on the ground:
#: no entry says which part of the machine lost it, or that the sensor was ever set against a count.
LOSS_SIGNAL: dict[int, str] = {
    0x5C: "loss_sensor_l_ha",
    0x5D: "loss_sensor_kg_ha",
    0x5E: "loss_sensor_count_m2",
    0x5F: "loss_sensor_l_s",
    0x60: "loss_sensor_kg_s",
    0x61: "loss_sensor_count_s",
    0x62: "loss_sensor_pct",
}

#: Entries that only the machine which harvests has.
YIELD = frozenset((_MASS_FLOW, _VOLUME_FLOW, _MASS_YIELD, _VOLUME_YIELD))

#: Entries that are looked at; all others are skipped.
KNOWN = frozenset((*_QUANTITIES, _WORK, *_CONDENSED, *_LATENCIES, *_TOTALS))

# Bushels of the crop table weigh 0.41 to 0.77 kg/L; outside these the entry holds something else
# (one open log keeps a calibration factor there).
_LIGHTEST, _HEAVIEST = 0.2, 1.0


@dataclass(frozen=True)
class Roles:
    """Columns of one log, what each was taken from, and what is to be said of them."""

    columns: Mapping[str, Floats]
    detected: tuple[Detected, ...]
    notes: tuple[str, ...]


def roles_of(readings: Readings) -> Roles:
    """Turn readings into columns in SI.

    States (width, work, density) hold until they are written anew; measures (flow, yield,
    moisture, speed, loss) are never carried into a record that has none.
    """
    found = _Found(readings)
    found.yields("mass_flow", "mass_flow_kg_s", _MASS_FLOW, _VOLUME_FLOW)
    found.yields("yield", WET_YIELD, _MASS_YIELD, _VOLUME_YIELD)
    # 0 ppm is a sensor without a reading: no grain is that dry
    found.measure("moisture", "moisture_pct", _MOISTURE, zero=False)
    found.measure("speed", "speed_m_s", _SPEED)
    share = found.work()
    found.width(share)
    found.loss_signal()
    return Roles(found.columns, tuple(found.detected), tuple(found.notes))


def timing_of(readings: Readings, log: int) -> StatedTiming:
    """What the log states of its sensors' timing; of several values the middle one of the records."""
    seconds = []
    for ddi in _LATENCIES:
        values = readings.state(ddi)
        known = values[values >= 0]
        seconds.append(float(np.median(known)) / 1000.0 if known.size else float("nan"))
    return StatedTiming(log, *seconds)


class _Found:
    """Columns as they are filled, one role after the other."""

    def __init__(self, readings: Readings) -> None:
        self._readings = readings
        self.columns: dict[str, Floats] = {}
        self.detected: list[Detected] = []
        self.notes: list[str] = []

    def measure(self, role: str, column: str, ddi: int, zero: bool = True) -> bool:
        """A quantity as logged; whether there is any."""
        found = self._only(ddi)
        if found is None:
            return False
        self.columns[column] = _in_si(found.values, ddi, zero)
        self._tell(role, found)
        return True

    def yields(self, role: str, column: str, mass: int, volume: int) -> None:
        """Mass as logged; volume only with a bulk density that can be one."""
        if self.measure(role, column, mass):
            return
        found = self._only(volume)
        if found is None:
            return
        density = _in_si(self._readings.state(_DENSITY), _DENSITY)
        usable = (density >= _LIGHTEST) & (density <= _HEAVIEST)
        if not usable.any():
            odd = "" if np.isnan(density).all() else f" that a crop can have (found {np.nanmedian(density):.3g} kg/L)"
            what = f"{role.replace('_', ' ')} is logged as volume (DDI {volume:04X})"
            self.notes.append(f"{what} without a bulk density (DDI {_DENSITY:04X}){odd}, so it is not used")
            return
        self.columns[column] = _in_si(found.values, volume) * np.where(usable, density, np.nan)
        self._tell(role, found)

    def work(self) -> Floats:
        """Work state; returns the share of sections at work, 1 where none are logged."""
        sections_on, sections = _condensed(self._readings)
        states = self._readings.all(_WORK)
        if states:
            self.columns["work"] = _any_at_work([state for state in states if state.rank == states[0].rank])
            self._tell("work", states[0])
        elif (sections > 0).any():
            self.columns["work"] = np.where(sections > 0, (sections_on > 0).astype(float), np.nan)
            first = next(found for ddi in _CONDENSED if (found := self._readings.best(ddi)) is not None)
            self._tell("work", first)
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where((sections > 0) & (sections_on > 0), sections_on / sections, 1.0)

    def width(self, share: Floats) -> None:
        """Actual width; without it the greatest one, less the sections that do not work."""
        for ddi, part in ((_WIDTH, 1.0), (_MOST_WIDTH, share)):
            found = self._only(ddi)
            if found is not None:
                self.columns["width_m"] = _in_si(carried(found.values), ddi) * part
                self._tell("width", found)
                return

    def loss_signal(self) -> None:
        """The loss sensors' columns, as they are."""
        kept = []
        for ddi, column in LOSS_SIGNAL.items():
            found = self._only(ddi)
            if found is not None:
                self.columns[column] = _in_si(found.values, ddi)
                kept.append(column)
        if kept:
            names = ", ".join(kept)
            self.notes.append(
                f"the machine's own loss signal is kept in points.parquet ({names}): it tells more from less, it is no measured loss"
            )

    def _only(self, ddi: int) -> Reading | None:
        """The reading that is used, said where there are others."""
        found = self._readings.all(ddi)
        if not found:
            return None
        if len(found) > 1 and found[0].how == "logged" and found[1].how == "logged":
            self.notes.append(f"DDI {ddi:04X} is logged by {len(found)} parts of the machine: that of {shown(found[0].element)} is used")
        return found[0]

    def _tell(self, role: str, found: Reading) -> None:
        entry = _QUANTITIES.get(found.ddi)
        how = f"ISO 11783-11, {found.how}"
        self.detected.append(Detected(role, found.column, entry.words if entry else "", how, entry.factor if entry else 1.0))


def _in_si(raw: Floats, ddi: int, zero: bool = True) -> Floats:
    """Raw values in SI; none of these quantities can be below zero."""
    with np.errstate(invalid="ignore"):
        return np.where(raw >= 0 if zero else raw > 0, raw * _QUANTITIES[ddi].factor, np.nan)


def _any_at_work(states: list[Reading]) -> Floats:
    """1 where any part works, 0 where all that know are off, NaN where none knows (2 error, 3 not installed)."""
    values = np.vstack([carried(state.values) for state in states])
    return np.where((values == 1).any(axis=0), 1.0, np.where((values == 0).any(axis=0), 0.0, np.nan))


def _condensed(readings: Readings) -> tuple[Floats, Floats]:
    """How many sections are on, and how many are on or off: two bits each, sixteen to an entry."""
    on, known = np.zeros(readings.count), np.zeros(readings.count)
    for ddi in _CONDENSED:
        if readings.best(ddi) is None:
            continue
        raw = readings.state(ddi)
        logged = np.isfinite(raw)
        bits = np.where(logged, raw, 0).astype(np.int64)
        for section in range(16):
            state = (bits >> (2 * section)) & 3
            on += logged & (state == 1)
            known += logged & (state <= 1)
    return on, known
