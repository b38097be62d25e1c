"""Models of our own, so that what is said of them does not hang on what settings there are."""

from __future__ import annotations

from typing import Annotated

import pydantic

from lossmap.base.settings import Metres, Strict, Typed


class Gate(Strict):
    """A model of our own, so that the words below do not hang on what settings there are."""

    width: Metres = pydantic.Field("12 ft", ge=1, le=30)
    swing: Annotated[float, Typed("deg")] | None = None
    bars: int = pydantic.Field(5, ge=1)


class Fence(Strict):
    """One level above."""

    name: str
    gate: Gate = Gate()
    gates: tuple[Gate, ...] = ()
