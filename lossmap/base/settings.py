"""Every choice a run has, in the order in which the data meets it.

Facts about a field are not here: they live in its ``field.toml`` (`lossmap.base.field`).
Each setting has its unit in what people type (``"9 mph"``), a default, limits, and the
reason for the default.
"""

from __future__ import annotations

import contextlib
import datetime
import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypeVar, get_args, get_origin

import pydantic
from pydantic import ConfigDict, Field
from pydantic.fields import FieldInfo
from pydantic_core import CoreSchema, PydanticUndefined, core_schema

from lossmap.base.errors import SettingsError, near, shown
from lossmap.base.units import quantity

__all__ = [
    "FIRST_DAY",
    "LAST_DAY",
    "UNHEEDED",
    "CleanSettings",
    "Day",
    "Degrees",
    "DollarsPerHour",
    "GridSettings",
    "Hectares",
    "LossSettings",
    "Metres",
    "MetresPerSecond",
    "Percent",
    "ReportSettings",
    "SeasonSettings",
    "Seconds",
    "Settings",
    "StopSettings",
    "Strict",
    "SurfaceSettings",
    "Typed",
    "ZoneSettings",
    "as_toml",
    "build",
    "merged",
    "overridden",
    "setting",
]


@dataclass(frozen=True)
class Typed:
    """For `Annotated`: a quantity typed with its unit, kept as a number of `unit`."""

    unit: str

    def __get_pydantic_core_schema__(self, source: Any, handler: pydantic.GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_before_validator_function(self._read, handler(source))

    def _read(self, value: object) -> object:
        if value is None:
            return None
        try:
            return quantity(value, self.unit)
        except SettingsError as refusal:
            raise ValueError(str(refusal)) from refusal


#: Days of harvests that can be planned or mapped: a year of two digits, or a number taken for seconds, is none of them.
FIRST_DAY, LAST_DAY = datetime.date(1990, 1, 1), datetime.date(2100, 1, 1)


def _day(value: object) -> object:
    if isinstance(value, str):
        with contextlib.suppress(ValueError):
            value = datetime.date.fromisoformat(value)
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime) and not FIRST_DAY <= value <= LAST_DAY:
        raise ValueError(f"{value} is no day of a harvest ({FIRST_DAY.year} to {LAST_DAY.year}); correct it")
    if isinstance(value, (int, float, str)):
        raise ValueError(f"{shown(repr(value))} is not a day; write 2025-10-18")
    return value


Day = Annotated[datetime.date, pydantic.BeforeValidator(_day)]
Metres = Annotated[float, Typed("m")]
MetresPerSecond = Annotated[float, Typed("m/s")]
Seconds = Annotated[float, Typed("s")]
Hectares = Annotated[float, Typed("ha")]
Percent = Annotated[float, Typed("percent")]
Degrees = Annotated[float, Typed("deg")]
DollarsPerHour = Annotated[float, Typed("USD/h")]


class Strict(pydantic.BaseModel):
    """Frozen, unknown keys refused, defaults checked like anything typed."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True)

    @pydantic.field_validator("*", mode="before")
    @classmethod
    def _yes_is_no_number(cls, value: Any, about: pydantic.ValidationInfo) -> Any:
        """True is no 1: four frames taken for one would make four times the loss."""
        if isinstance(value, bool) and cls.model_fields[str(about.field_name)].annotation is int:
            raise ValueError(f"must be a whole number (is {str(value).lower()})")
        return value


def setting(default: object, **more: Any) -> Any:
    """A setting whose default is typed as people type it; it is read like anything else."""
    return Field(default, **more)


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

    rng_seed: int = Field(1, ge=0, le=2**32 - 1, description="same seed, same bytes")
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


Model = TypeVar("Model", bound=pydantic.BaseModel)


def build(model: type[Model], values: Mapping[str, Any], where: str) -> Model:
    """A `model` from what was read, or one `SettingsError` with every fault in it.

    Parameters
    ----------
    model : type
        A `Strict` model.
    values : mapping
        What a TOML file held.
    where : str
        The file, as it shall stand before each fault.
    """
    try:
        return model.model_validate(values)
    except pydantic.ValidationError as refused:
        wrong = refused.errors()
    try:
        faults = [f"{where}: {_fault(model, fault)}" for fault in wrong]
    except RecursionError as deep:
        raise SettingsError(f"{where}: is nested too deeply; tables stand at most three deep") from deep
    raise SettingsError("\n".join(faults))


def _fault(model: type[pydantic.BaseModel], fault: Mapping[str, Any]) -> str:
    """One fault of pydantic in our own words."""
    *above, last = fault["loc"] or ("",)
    # pydantic puts the names of models between those of keys
    place = [*(part for part in above if not (isinstance(part, str) and part[:1].isupper())), last]
    name = _dotted(place)
    if fault["type"] == "extra_forbidden":
        known = _keys_at(model, place[:-1])
        return f"{name}: no such key; {near(str(place[-1]), known)}"
    if fault["type"] == "missing":
        entry = _entry_at(model, place)
        example = f", for example {entry.examples[0]}" if entry is not None and entry.examples else ""
        return f"{name}: is missing; add it{example}"
    if fault["type"] == "value_error":
        return f"{name}: {fault['msg'].removeprefix('Value error, ')}"
    if fault["type"] in _BOUNDS:
        entry = _entry_at(model, place)
        found = fault["input"]
        shown_value = shown(repr(found)) if isinstance(found, str) else f"{found:,.10g}{_unit_of(entry)}"
        return f"{name}: must be {_limits(entry) if entry else fault['msg']} (is {shown_value})"
    if fault["type"] in ("model_type", "dict_type"):
        return f"{name}: must be a table of settings, as [{name}] (is {shown(repr(fault['input']))})"
    if fault["type"] in ("tuple_type", "list_type"):
        return f"{name}: must be a list, as [[{name}]] (is {shown(repr(fault['input']))})"
    plain = next((words for kind, words in _KINDS.items() if fault["type"].startswith(kind)), None)
    message = plain or fault["msg"].removeprefix("Input should be ")
    return f"{name}: must be {message} (is {shown(repr(fault['input']))})"


#: What pydantic says in many ways, by the beginning of its kinds of fault.
_KINDS = {"date": "a day, as 2025-10-18", "int": "a whole number", "string": 'text in quotes, as "red"', "finite": "a finite number"}


_BOUNDS = ("greater_than", "greater_than_equal", "less_than", "less_than_equal")


def _entry_at(model: Any, place: list[Any]) -> FieldInfo | None:
    """The field a fault is about."""
    for part in place[:-1]:
        if isinstance(part, str) and part in getattr(model, "model_fields", {}):
            model = _inner_model(model.model_fields[part].annotation)
    return getattr(model, "model_fields", {}).get(place[-1]) if place else None


def _inner_model(annotation: Any) -> Any:
    """The model inside ``tuple[Model, ...]``, ``Model | None`` and the like."""
    while not hasattr(annotation, "model_fields"):
        inner = [part for part in get_args(annotation) if hasattr(part, "model_fields") or get_args(part)]
        if not inner:
            return annotation
        annotation = inner[0]
    return annotation


def _unit_of(entry: FieldInfo | None) -> str:
    """The unit a setting is kept in, with a space before it; nothing for a plain number."""
    kept = next((rule.unit for rule in (entry.metadata if entry else ()) if isinstance(rule, Typed)), "")
    kept = kept or next(
        (rule.unit for part in get_args(entry.annotation if entry else None) for rule in get_args(part) if isinstance(rule, Typed)), ""
    )
    return f" {'%' if kept == 'percent' else kept}" if kept else ""


def _dotted(place: list[Any]) -> str:
    text = ""
    for part in place:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return shown(text, 100)


def _keys_at(model: Any, place: list[Any]) -> list[str]:
    """The keys known where a wrong one stood, walking down through lists and optional parts."""
    for part in place:
        if isinstance(part, str) and part in getattr(model, "model_fields", {}):
            model = _inner_model(model.model_fields[part].annotation)
    return sorted(getattr(model, "model_fields", {}))


def merged(below: Mapping[str, Any], above: Mapping[str, Any]) -> dict[str, Any]:
    """Two nested mappings in one, `above` winning."""
    out = dict(below)
    for key, value in above.items():
        known = out.get(key)
        out[key] = merged(known, value) if isinstance(known, Mapping) and isinstance(value, Mapping) else value
    return out


def overridden(values: Mapping[str, Any], assignments: list[str]) -> dict[str, Any]:
    """`values` with each ``clean.idle="5 s"`` of a command line laid over it.

    The right side is TOML; a bare word that is not (``report.units=metric``) is taken as text.
    """
    for assignment in assignments:
        key, equals, text = assignment.partition("=")
        if not equals or not key.strip():
            raise SettingsError(f'--set {shown(assignment)}: is not KEY=VALUE; write for example --set grid.cell="10 m"')
        try:
            value = tomllib.loads(f"value = {text}")["value"]
        except (ValueError, RecursionError):
            value = text.strip()
        for part in reversed(key.strip().split(".")):
            value = {part: value}
        values = merged(values, value)
    return dict(values)


def as_toml(model: type[Strict] = Settings, command: str = "", without: Collection[str] = ()) -> str:
    """Every setting as a TOML file that a run reads: its reason and limits above, its default beside.

    Parameters
    ----------
    model : type
        `Settings`, or the settings of a farm.
    command : str
        Whose they are, for the first line; empty for all of one field's.
    without : collection of str
        Tables to leave out.
    """
    lines = [f"# Settings of {f'lossmap {command}'.strip()}. Each line is the default; a file needs only what differs."]
    for name, entry in model.model_fields.items():
        if name in without:
            continue
        part = entry.annotation
        if isinstance(part, type) and issubclass(part, Strict):
            lines += ["", f"[{name}]  # {str(part.__doc__).splitlines()[0]}"]
            lines += [line for key, inner in part.model_fields.items() for line in _setting_lines(key, inner)]
        else:
            lines += ["", *_setting_lines(name, entry)]
    return "\n".join(lines)


def _setting_lines(name: str, entry: FieldInfo) -> list[str]:
    limits = _limits(entry)
    value = entry.default
    if value is PydanticUndefined:
        return [f"# {entry.description}", f"# [{name}.CROP]"]
    shown_value = (
        f'# {name} = "{(entry.examples or [""])[0]}"'
        if value is None
        else f"{name} = {str(value).lower()}"
        if isinstance(value, (int, float))
        else f'{name} = "{value}"'
    )
    return [f"# {entry.description}{f' ({limits})' if limits else ''}", shown_value]


def _limits(entry: FieldInfo) -> str:
    """The range in the unit of the default: ``1 to 50 m``; the words allowed, for a choice."""
    bounds = {name: getattr(rule, name) for rule in entry.metadata for name in ("ge", "le", "gt", "lt") if hasattr(rule, name)}
    if get_origin(entry.annotation) is Literal:
        return " or ".join(f'"{word}"' for word in get_args(entry.annotation))
    if not bounds:
        return ""
    low, high = bounds.get("ge", bounds.get("gt")), bounds.get("le", bounds.get("lt"))
    unit = _unit_of(entry)
    if low is None or high is None:
        return f"at least {low:,.10g}{unit}" if low is not None else f"at most {high:,.10g}{unit}"
    return f"more than {low:,.10g}, up to {high:,.10g}{unit}" if "gt" in bounds else f"{low:,.10g} to {high:,.10g}{unit}"
