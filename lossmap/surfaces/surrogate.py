"""A second opinion on a driver: would a map that only looks like it line up with the counts as well?

A map of speed or moisture is made anew with the phases of its Fourier transform drawn at
random and its values put in the same order of size: as smooth and as spread, but lying
elsewhere (cf. Viladomat et al., Biometrics 2014, from memory). The share of such maps that
goes with the counts at least as well as the real one is the chance of a coincidence of
maps. It holds its level where a model might not, and finds less.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lossmap.base.grid import Floats
from lossmap.surfaces.counts import CountModel

__all__ = ["coincidence", "surrogate"]


def coincidence(model: CountModel, driver: str, layer: Floats, cell: npt.NDArray[np.intp], surrogates: int, rng_seed: int) -> float:
    """Share of surrogate maps that go with the counts at least as well as `layer`.

    Parameters
    ----------
    model : CountModel
        Fitted with that driver.
    driver : "speed" or "dryness"
    layer : array, ``[row, col]``
        Its values on the field's grid, without gaps.
    cell : array of int, ``[stop]``
        Flat index of the cell each stop lies in.
    surrogates : int
        How many maps to draw, at least 1.
    rng_seed : int

    Returns
    -------
    float
        Between ``1 / (surrogates + 1)`` and 1: the real map counts as one of them.
    """
    rng = np.random.default_rng(rng_seed)
    hinges = [hinge for hinge in model.hinges_ if hinge.driver == driver]

    def score(values: Floats) -> float:
        at_counts = values.ravel()[cell][model.counted_.stop]
        return float(np.mean([model.plain_.score(hinge.of(at_counts)) for hinge in hinges]))

    real = score(layer)
    as_good = sum(score(surrogate(layer, rng)) >= real for _ in range(surrogates))
    return (1 + as_good) / (1 + surrogates)


def surrogate(layer: Floats, rng: np.random.Generator) -> Floats:
    """A map with the spectrum of `layer` and random phases, holding the same values, ``[row, col]``."""
    size = np.abs(np.fft.rfft2(layer - layer.mean()))
    phases = np.fft.rfft2(rng.standard_normal(layer.shape))
    drawn = np.fft.irfft2(size * phases / np.maximum(np.abs(phases), 1e-300), layer.shape)
    out = np.empty(layer.size)
    out[np.argsort(drawn, axis=None, kind="stable")] = np.sort(layer, axis=None)
    return out.reshape(layer.shape)
