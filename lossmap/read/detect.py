"""Which column plays which role, and in which unit.

Names give candidates, values decide, and units are checked by geometry (`ground`): a unit
stated in a header or by the owner that is more than a tenth off what the ground says is
refused with the one that would fit; a unit that nobody states is taken only if exactly one
fits. Whatever stays open is asked for, not guessed.
"""

from __future__ import annotations

import contextlib
import dataclasses
import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from lossmap.base.errors import NoReference, ReadError, near, shown
from lossmap.base.field import ROLES, ColumnChoice
from lossmap.base.units import factor
from lossmap.read.ground import AGREES, ground_of, ratio_of
from lossmap.read.places import bare_places, degrees_of, places_of, unit_m
from lossmap.read.raw import MOST_RECORD, Detected, Raw, column_numbers
from lossmap.read.roles import LIKELY, LOOKS, PLACES, WORDS_ONLY, candidates, cannot_be, possible
from lossmap.read.times import read_times
from lossmap.read.words import unit_in_header

__all__ = ["Understood", "columns_of", "understood"]


# Settled in this order, each with the help of those before; flow and yield settle one another.
_MEASURED = ("heading", "elevation", "moisture", "interval", "distance", "speed", "width")

# Yield is at another moisture than flow, so the two may differ by what drying takes.
_DRYING = 0.2


@dataclass(frozen=True)
class Understood:
    """What was found of a file's columns.

    Attributes
    ----------
    detected : tuple of Detected
    faults : tuple of str
        What cannot be, or is open.
    asked : tuple of str
        The lines of [points.columns] that settle what is open, one for each unit that nobody states.
    """

    detected: tuple[Detected, ...]
    faults: tuple[str, ...]
    asked: tuple[str, ...]


def columns_of(
    raw: Raw, chosen: Mapping[str, ColumnChoice], bushel_lb: float | None, header_width_m: float = float("nan"), crs: str | None = None
) -> list[Detected]:
    """Every role that the file's columns play.

    Parameters
    ----------
    raw : Raw
    chosen : mapping of role to ColumnChoice
        What the field's owner wrote; it wins. An empty column name means "none".
    bushel_lb : float or None
        Legal weight of the crop's bushel [lb].
    header_width_m : float
        The header's width [m], which the logged width is checked against.
    crs : str or None
        The coordinate system the field's owner wrote for the file; it goes before the file's own.

    Raises
    ------
    ReadError
        A column chosen is not there, or a unit is missing or cannot be; lists all.
    """
    found = understood(raw, chosen, bushel_lb, header_width_m, crs)
    if found.faults:
        raise ReadError("\n".join(found.faults))
    return list(found.detected)


def understood(
    raw: Raw, chosen: Mapping[str, ColumnChoice], bushel_lb: float | None, header_width_m: float = float("nan"), crs: str | None = None
) -> Understood:
    """The same, with what has to be asked for beside what was found, for those who only look."""
    search = _Search(raw, chosen, bushel_lb, header_width_m)
    search.refuse_two_roles()
    for role in (*PLACES, *WORDS_ONLY):
        search.settle(role)
    search.settle_bare_places()
    search.measure_ground(crs)
    misplaced = list(search.faults)
    for role in _MEASURED:
        search.settle(role)
    search.settle_flow_and_yield()
    order = list(ROLES)
    detected = tuple(sorted(search.found.values(), key=lambda one: order.index(one.role)))
    # without places no unit can be checked: what would be asked for then may not be open at all
    return Understood(detected, tuple(misplaced), ()) if misplaced else Understood(detected, tuple(search.faults), tuple(search.asked))


class _Search:
    """What is known of a file's columns so far."""

    def __init__(self, raw: Raw, chosen: Mapping[str, ColumnChoice], bushel_lb: float | None, header_width_m: float) -> None:
        self.raw, self.chosen, self.bushel_lb = raw, chosen, bushel_lb
        self.found: dict[str, Detected] = {}
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.known: dict[str, float] = {}
        self._hint: dict[str, str] = {}
        # role -> why the column that bears its name cannot play it
        self._unusable: dict[str, str] = {}
        self._only_yield = False
        self.ground = ground_of(None, None, True, None, None, header_width_m)

    def refuse_two_roles(self) -> None:
        """Note each column that the owner gave to several roles."""
        given: dict[str, list[str]] = {}
        for role, choice in self.chosen.items():
            given.setdefault(choice.column, []).append(role)
        self.faults += [
            f"{self.raw.where}: [points.columns] gives column {shown(column)} to {' and '.join(roles)}; a column plays one role"
            for column, roles in given.items()
            if column and len(roles) > 1
        ]

    def settle(self, role: str) -> None:
        """Find the role's column and unit, or note what to ask for."""
        try:
            column, how = self._column(role)
            if column:
                self._take(self._with_unit(role, column, how))
        except ReadError as fault:
            self.faults.append(str(fault))

    def settle_bare_places(self) -> None:
        """Columns called just x and y, where nothing else says a place."""
        if self.raw.x is not None or self.found.keys() & set(PLACES):
            return
        try:
            for one in bare_places(self.raw):
                self._take(one)
        except ReadError as fault:
            self.faults.append(str(fault))

    def measure_ground(self, crs: str | None) -> None:
        """Positions, clock and order are settled: measure the steps, or note what is wrong with the places."""
        longitude = latitude = seconds = number = None
        if self.raw.x is not None or {"longitude", "latitude"} <= self.found.keys() or {"easting", "northing"} <= self.found.keys():
            try:
                x, y, system = places_of(self.raw, self.found, crs)
                longitude, latitude = degrees_of(x, y, system)
                if not (np.isfinite(x) & np.isfinite(y)).any():
                    raise ReadError(f"{self.raw.where}: no record has a position; export it with its places")
                if (np.isfinite(x) & np.isfinite(y)).any() and not np.isfinite(longitude).any():
                    said = f"crs {shown(crs or system.name)} does not reach its places (first {x[0]:g}, {y[0]:g})"
                    raise ReadError(f"{self.raw.where}: {said}; set the right crs beside path in field.toml")
                self._name_unit(unit_m(system))
            except ReadError as fault:
                self.faults += [] if str(fault) in self.faults else [str(fault)]
        else:
            self._note_unusable(PLACES)
        # what is wrong with these two is named where they are read
        with contextlib.suppress(ReadError):
            seconds = read_times(self.raw, self.found["time"].column).seconds if "time" in self.found else None
        with contextlib.suppress(ReadError):
            number = column_numbers(self.raw, self.found["record"].column, MOST_RECORD) if "record" in self.found else None
        self.ground = ground_of(longitude, latitude, True, seconds, number, self.ground.width_m)

    def _name_unit(self, one_m: float) -> None:
        """Eastings without a unit are in their system's own."""
        for role in ("easting", "northing"):
            if role in self.found and self.found[role].factor == 1.0 and one_m != 1.0:
                unit = "ft" if abs(one_m / factor("ft", "m") - 1) < 1e-4 else f"{one_m:g} m"
                how = self.found[role].how.replace("unit by its values", "unit of its coordinate system")
                self.found[role] = dataclasses.replace(self.found[role], unit=unit, how=how, factor=one_m)

    def _note_unusable(self, roles: Iterable[str]) -> None:
        self.faults += [f"{self.raw.where}: {role}: {self._unusable[role]}" for role in roles if role in self._unusable]

    def settle_flow_and_yield(self) -> None:
        """The two together: each is the other's check, and a pair of units may fit where one alone could be several."""
        columns = {}
        for role in ("mass_flow", "yield"):
            try:
                column, how = self._column(role)
                if column:
                    columns[role] = (column, how, self._stated(role, column))
            except ReadError as fault:
                self.faults.append(str(fault))
        if not columns and not self.faults:
            self._note_unusable(("mass_flow", "yield"))
        self._only_yield = len(columns) == 1
        if len(columns) == 2 and not all(stated for *_, stated in columns.values()):
            self._settle_pair(columns)
            return
        # what is stated first, so that it checks the other
        for role in sorted(columns, key=lambda role: not columns[role][2]):
            self.settle(role)

    def _settle_pair(self, columns: Mapping[str, tuple[str, str, str | None]]) -> None:
        trials = {role: [stated] if stated else list(LOOKS[role].units) for role, (_, _, stated) in columns.items()}
        fitting = []
        for flow, harvest in itertools.product(trials["mass_flow"], trials["yield"]):
            values = {role: self._middle(role, columns[role][0], unit) for role, unit in (("mass_flow", flow), ("yield", harvest))}
            ratio = ratio_of("yield", values["yield"], self.ground, self.known | values)
            if all(possible(role, value) for role, value in values.items()) and abs(ratio - 1) <= AGREES:
                fitting.append((flow, harvest, ratio))
        if len(fitting) == 1:
            flow, harvest, ratio = fitting[0]
            for role, unit in (("mass_flow", flow), ("yield", harvest)):
                column, how, stated = columns[role]
                said = "unit in its header" if stated else "unit by flow, width and distance"
                self._take(Detected(role, column, unit, f"{how}, {said}", factor(unit, ROLES[role], self.bushel_lb), ratio))
            return
        for role in columns:
            self.settle(role)

    def _take(self, one: Detected | None) -> None:
        if one is None:
            return
        self.found[one.role] = one
        if one.role not in WORDS_ONLY:
            self.known[one.role] = self.ground.middle(column_numbers(self.raw, one.column) * one.factor)

    def _column(self, role: str) -> tuple[str, str]:
        """The role's column and how it was found; no column where none plays it."""
        if role in self.chosen:
            return self._chosen(role), "chosen"
        if self.raw.x is not None and role in PLACES:
            return "", ""
        taken = {one.column: one.role for one in self.found.values()} | {choice.column: given for given, choice in self.chosen.items()}
        for found in candidates(map(str, self.raw.columns.columns), role):
            why = cannot_be(self.raw, role, found.column)
            if found.column in taken:
                given = shown(found.column)
                why = f"column {given} is given to {taken[found.column]}; give one of the two another column under [points.columns]"
            if not why:
                self._hint[role] = found.hint
                return found.column, found.how
            if found.far == 0:
                self._unusable.setdefault(role, why)
        return "", ""

    def _chosen(self, role: str) -> str:
        column = self.chosen[role].column
        if column and column not in self.raw.columns.columns:
            raise ReadError(
                f"{self.raw.where}: [points.columns] {role} names column {shown(column)}, which the file has not; "
                f"{near(column, [str(name) for name in self.raw.columns.columns])}"
            )
        if column and role in PLACES and (why := cannot_be(self.raw, role, column)):
            raise ReadError(f"{self.raw.where}: {role}: {why}")
        return column

    def _stated(self, role: str, column: str) -> str | None:
        unit = self.chosen[role].unit if role in self.chosen else None
        return unit or unit_in_header(column, ROLES[role], self.bushel_lb)

    def _with_unit(self, role: str, column: str, how: str) -> Detected | None:
        if role in WORDS_ONLY:
            return Detected(role, column, "", how, 1.0)
        stated = self._stated(role, column)
        if stated:
            by_owner = role in self.chosen and self.chosen[role].unit is not None
            return self._believed(role, column, stated, how if by_owner else f"{how}, unit in its header")
        fitting = [(unit, ratio) for unit, ratio in self._trials(role, column) if not abs(ratio - 1) > AGREES]
        checked = [(unit, ratio) for unit, ratio in fitting if np.isfinite(ratio)]
        if len(checked or fitting) == 1:
            unit, ratio = (checked or fitting)[0]
            said = "unit by geometry" if checked else "unit by its values"
            return Detected(role, column, unit, f"{how}, {said}", factor(unit, ROLES[role], self.bushel_lb), ratio)
        hinted = [unit for unit, _ in fitting if self._hint.get(role) and unit.replace("/", "").startswith(self._hint[role])]
        if len(hinted) == 1:
            return Detected(role, column, hinted[0], f"{how}, unit by the rest of its name", factor(hinted[0], ROLES[role], self.bushel_lb))
        if role == "elevation":
            return None  # only ever a check on the others: not worth asking for
        raise ReadError(self._ask(role, column, [unit for unit, _ in fitting]))

    def _trials(self, role: str, column: str) -> list[tuple[str, float]]:
        """Units in which the column's values could be, with what the ground says of each."""
        trials = []
        for unit in LOOKS[role].units:
            try:
                value = self._middle(role, column, unit)
            except NoReference:
                continue
            if possible(role, value):
                trials.append((unit, ratio_of(role, value, self.ground, self.known)))
        return trials

    def _believed(self, role: str, column: str, unit: str, how: str) -> Detected:
        """A stated unit, unless the values or the ground speak against it."""
        try:
            value, by = self._middle(role, column, unit), factor(unit, ROLES[role], self.bushel_lb)
        except NoReference as refusal:
            raise ReadError(f'{self.raw.where}: {role}: {refusal}; write for example unit = "{LIKELY[role]}"') from refusal
        if not possible(role, value):
            looks = LOOKS[role]
            raise ReadError(
                f"{self.raw.where}: {role}: the middle value of {shown(column)} would be {value:.4g} {ROLES[role]} "
                f"if it is in {shown(unit)}, which cannot be (expected {looks.least:g} to {looks.most:g}); "
                "give the right unit or column in [points.columns]"
            )
        ratio = ratio_of(role, value, self.ground, self.known)
        # a header may be narrower than the owner says, so a width is shown beside its check but never refused
        if role != "width" and abs(ratio - 1) > (_DRYING if role in ("yield", "mass_flow") else AGREES):
            raise ReadError(self._off(role, column, unit, ratio))
        return Detected(role, column, unit, how, by, ratio)

    def _off(self, role: str, column: str, unit: str, ratio: float) -> str:
        fits = [other for other, checked in self._trials(role, column) if abs(checked - 1) <= AGREES]
        remedy = f'unit = "{fits[0]}" would fit' if len(fits) == 1 else "give the right unit or column"
        said = f"{ratio:.2f} times" if ratio >= 1 else f"1/{1 / ratio:.2f} of"
        return (
            f"{self.raw.where}: {role}: positions and clock say {said} what {shown(column)} says in {shown(unit)}; "
            f"{remedy}, under [points.columns] in field.toml"
        )

    def _ask(self, role: str, column: str, fitting: list[str]) -> str:
        could = f"could be in {' or '.join(fitting)}" if fitting else "has no unit"
        line = f'{role} = {{ column = "{shown(column)}", unit = "{fitting[0] if fitting else LIKELY[role]}" }}'
        self.asked.append(line)
        # the one column a map cannot be made without is never to be left out
        or_none = "" if self._only_yield and role in ("mass_flow", "yield") else f', or {role} = "" to leave it out'
        return (
            f"{self.raw.where}: {role}: column {shown(column)} {could}; under [points.columns] in field.toml write "
            f"{line} with the right unit{or_none}"
        )

    def _middle(self, role: str, column: str, unit: str) -> float:
        """Median of the column over moving records, in SI if it is in `unit`."""
        return self.ground.middle(column_numbers(self.raw, column)) * factor(unit, ROLES[role], self.bushel_lb)
