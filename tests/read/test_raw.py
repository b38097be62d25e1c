from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from lossmap.base.errors import ReadError
from lossmap.read.raw import Raw, column_numbers, crs_of


def test_numbers_of_a_text_column():
    """Text that holds numbers and blanks is numbers and gaps."""
    raw = Raw("log.csv", pd.DataFrame({"v": ["1.5", "", None, " 2 "]}), 2)
    assert column_numbers(raw, "v") == pytest.approx([1.5, np.nan, np.nan, 2.0], nan_ok=True)


def test_the_first_of_many_wrong_values_is_shown_on_one_line():
    """A value with a line break and control characters is shown safely, with how many there are."""
    raw = Raw("log.csv", pd.DataFrame({"v": ["1", "a\nb\x1b[31m", "c"]}), 2)
    with pytest.raises(ReadError) as refused:
        column_numbers(raw, "v")
    assert "row 3" in str(refused.value)
    assert "(2 such rows)" in str(refused.value)
    assert "\n" not in str(refused.value)
    assert "\x1b" not in str(refused.value)


def test_an_unknown_system_is_refused():
    """A typed coordinate system that is none names a good example."""
    with pytest.raises(ReadError, match='crs "EPSG:99999999" is not known; write for example "EPSG:4326"'):
        crs_of("EPSG:99999999", "creek/points.csv")
