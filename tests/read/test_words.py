from __future__ import annotations

import pytest

from lossmap.read.words import cut_short, header_words, unit_hint, unit_in_header


@pytest.mark.parametrize(
    ("header", "words", "unit", "to"),
    [
        ("Yield (bu/ac)", "yield", "bu/ac", "kg/ha"),
        ("Moisture [%]", "moisture", "%", "percent"),
        ("Crop moisture %", "crop moisture", "%", "percent"),
        ("mass_flow_kg_s", "mass flow", "kg/s", "kg/s"),
        ("Swath Width(ft)", "swath width", "ft", "m"),
        ("GroundSpeed mph", "ground speed", "mph", "m/s"),
        ("frame_ft2", "frame", "ft2", "m2"),
        ("speed", "speed", None, "m/s"),
    ],
)
def test_a_header_says_words_and_unit(header, words, unit, to):
    """The unit in a header is taken off its words, in brackets or as its last words."""
    assert header_words(header) == words
    assert unit_in_header(header, to, 56.0) == unit


def test_a_unit_of_another_kind_is_not_taken():
    """'Distance (s)' states no length, so no unit is found in it."""
    assert unit_in_header("Distance (s)", "m") is None


@pytest.mark.parametrize(
    ("header", "phrase", "left", "hint"),
    [
        ("dstnc_f", "distance", 1, "f"),
        ("durtn_s", "duration", 1, "s"),
        ("mostr__", "moisture", 0, ""),
        ("moistur", "moisture", 0, ""),
        ("swth_w_", "swath width", 0, ""),
        ("crp_flw_m", "crop flow mass", 0, ""),
        ("yld_vl_d", "yield volume dry", 0, ""),
        ("yld_vl_w", "yield volume", 1, "w"),
        ("spd_mp_", "speed", 1, "mp"),
        ("flw_lbs", "flow", 1, "lbs"),
        ("hdng_dg", "heading", 1, "dg"),
    ],
)
def test_names_cut_to_ten_letters(header, phrase, left, hint):
    """Real truncated names are their trade words, with what is left of the unit."""
    assert cut_short(header, phrase) == left
    assert unit_hint(header, phrase) == hint


@pytest.mark.parametrize(
    ("header", "phrase"),
    [
        ("altitude", "latitude"),
        ("lat", "altitude"),
        ("crop", "crop flow"),
        ("fl_cn_t", "flow"),
        ("prd_c__", "speed"),
        ("a_long_name_x", "a"),
    ],
)
def test_names_that_only_look_alike(header, phrase):
    """Altitude is no latitude, a crop code no crop flow, fuel no flow."""
    assert cut_short(header, phrase) is None
