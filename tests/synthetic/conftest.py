"""A made field that many tests look at."""

from __future__ import annotations

import pytest
from synthetic.plans import QUIET

from lossmap.synthetic import MadeField, make


@pytest.fixture(scope="package")
def quiet() -> MadeField:
    """A field whose sensors tell the truth, at once."""
    return make(QUIET, 5)
