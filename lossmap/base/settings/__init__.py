"""Every choice a run has, in the order in which the data meets it.

Facts about a field are not here: they live in its ``field.toml`` (`lossmap.base.field`).
Each setting has its unit in what people type (``"9 mph"``), a default, limits, and the
reason for the default.

    choices    the settings themselves
    typed      what they are made of: quantities with their unit, days
    refusals   from what was read to settings, or one refusal of all faults
    limits     what a setting may be, in words
    text       `--set`, and the listing
"""

from lossmap.base.settings.choices import (
    UNHEEDED,
    CleanSettings,
    GridSettings,
    LossSettings,
    ReportSettings,
    SeasonSettings,
    Settings,
    StopSettings,
    SurfaceSettings,
    ZoneSettings,
)
from lossmap.base.settings.refusals import build
from lossmap.base.settings.text import as_toml, merged, overridden
from lossmap.base.settings.typed import (
    FIRST_DAY,
    LAST_DAY,
    Day,
    Days,
    Degrees,
    DollarsPerHour,
    DollarsPerMetre,
    Hectares,
    Hours,
    Metres,
    MetresPerSecond,
    Millimetres,
    Percent,
    Seconds,
    Strict,
    Typed,
    setting,
)

__all__ = [
    "FIRST_DAY",
    "LAST_DAY",
    "UNHEEDED",
    "CleanSettings",
    "Day",
    "Days",
    "Degrees",
    "DollarsPerHour",
    "DollarsPerMetre",
    "GridSettings",
    "Hectares",
    "Hours",
    "LossSettings",
    "Metres",
    "MetresPerSecond",
    "Millimetres",
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
