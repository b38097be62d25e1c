"""Stage 4: from counted seeds to loss by source at each stop and over the field, with its doubt."""

from lossmap.loss.stops import field_loss, losses, seed_mass_g

__all__ = ["field_loss", "losses", "seed_mass_g"]
