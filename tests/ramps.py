"""How far apart the map's colours stay: in sunlight, in grey print, and to colour-blind eyes."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from colorspacious import cspace_convert, deltaE

#: Light of a bright phone's white, and what its glass throws back in the sun (about 15,000 lux at 4 %; from memory) [cd/m2].
WHITE_CD_M2, VEIL_CD_M2 = 600.0, 200.0

BLINDNESS = {"deuteranopia": "deuteranomaly", "protanopia": "protanomaly", "tritanopia": "tritanomaly"}


def step_in_glare(ramp: Sequence[str]) -> float:
    """Smallest step of lightness between neighbours once the glass's light is added [L*]."""
    return _smallest_step((np.array([luminance(colour) for colour in ramp]) * WHITE_CD_M2 + VEIL_CD_M2) / (WHITE_CD_M2 + VEIL_CD_M2))


def step_in_grey(ramp: Sequence[str]) -> float:
    """Smallest step of lightness between neighbours on paper without colour [L*]."""
    return _smallest_step(np.array([luminance(colour) for colour in ramp]))


def worst_pair(ramp: Sequence[str], blindness: str) -> float:
    """Distance of the two classes that are hardest to tell apart (Machado 2009; CAM02-UCS)."""
    space = {"name": "sRGB1+CVD", "cvd_type": BLINDNESS[blindness], "severity": 100}
    seen = [cspace_convert(np.array(list(bytes.fromhex(colour[1:]))) / 255, space, "sRGB1") for colour in ramp]
    return min(float(deltaE(one, other, input_space="sRGB1")) for one, other in itertools.combinations(seen, 2))


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour."""
    linear = [((part / 255 + 0.055) / 1.055) ** 2.4 if part > 10 else part / 255 / 12.92 for part in bytes.fromhex(colour[1:])]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def lightness(relative: float) -> float:
    """CIE L* of a relative luminance."""
    return 116 * relative ** (1 / 3) - 16 if relative > 0.008856 else 903.3 * relative


def _smallest_step(relative: np.ndarray) -> float:
    return min(lightness(before) - lightness(after) for before, after in itertools.pairwise(relative.tolist()))
