"""A field: the facts its owner wrote down (`facts`), and all that was made of them (`found`)."""

from lossmap.base.field.facts import (
    COUNT_ROLES,
    MEASURED,
    ROLES,
    ColumnChoice,
    CountsFile,
    Field,
    FieldFacts,
    PointsFile,
    file_inside,
)
from lossmap.base.field.found import Cleaning, FieldMap

__all__ = [
    "COUNT_ROLES",
    "MEASURED",
    "ROLES",
    "Cleaning",
    "ColumnChoice",
    "CountsFile",
    "Field",
    "FieldFacts",
    "FieldMap",
    "PointsFile",
    "file_inside",
]
