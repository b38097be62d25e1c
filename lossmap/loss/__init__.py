"""Stage 4: from counted seeds to loss by source at each stop, with its doubt."""

from lossmap.loss.stops import losses, seed_mass_g

__all__ = ["losses", "seed_mass_g"]
