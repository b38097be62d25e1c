"""Where to count next: the stops that tell most, before any count and after a first round.

Before any count nothing is known of the loss, and what a field can show is decided by how
far the stops lie apart: in place for the map, in ground speed and moisture for the verdicts
(`apart`). After a first round the count model says how loss changes over the field and how
much one stop tells, so what a further stop will do to every doubt is known before it is
counted (`telling`, by the arithmetic of `posterior`). Either choice becomes a table for
those who go and count (`table`).
"""

from lossmap.stops.apart import farthest, spread
from lossmap.stops.ground import Ground, Picked
from lossmap.stops.table import plan_table
from lossmap.stops.telling import MOST_NEEDED, next_stops

__all__ = ["MOST_NEEDED", "Ground", "Picked", "farthest", "next_stops", "plan_table", "spread"]
