"""Stage 8: the fields of a season pooled: slopes, losses, and headers, machines and people compared."""

from lossmap.pool.together import pool

__all__ = ["pool"]
