"""Columns of a list of counts: found by the trade's words, chosen by its owner, or asked for."""

from __future__ import annotations

import pandas as pd
import pytest
from read.test_counts import WIDE, counts, facts

from lossmap.base.errors import ReadError
from lossmap.read import read_counts
from lossmap.read.count_columns import counted_columns
from lossmap.read.raw import Raw


def test_the_machine_beside_its_counts(field_folder):
    """A column that only may be a position gives way to the one that is."""
    text = "stop,lat,lon,behind combine,machine,frame_ft2\nA,41.9,-93.6,31,red,1\n"
    assert counts(field_folder, text)["seeds"].tolist() == [31]


def test_columns_in_a_language_of_ones_own(field_folder):
    """[counts.columns] gives each role its column, in either layout; a position's word is still the trade's."""
    text = "Punkt;Breite;Laenge;Wo;Koerner\n1;41,9;-93,6;rear;9\n"
    keys = 'frame = "0.25 m2"\n[counts.columns]\nstop = "Punkt"\nlatitude = "Breite"\nlongitude = "Laenge"\n'
    table = read_counts(facts(field_folder(counts=text), keys + 'position = "Wo"\nseeds = "Koerner"'))
    assert (table["seeds"].iloc[0], table["position"].iloc[0], table["frame_m2"].iloc[0]) == (9, "behind_combine", 0.25)
    again = read_counts(facts(field_folder(counts="Punkt;Breite;Laenge;hinten\n1;41,9;-93,6;9\n"), keys + 'behind_combine = "hinten"'))
    assert (again["seeds"].iloc[0], again["position"].iloc[0]) == (9, "behind_combine")


@pytest.mark.parametrize(
    ("text", "keys", "message"),
    [
        (
            WIDE,
            "",
            'no column says the frame\'s area; add one named frame_ft2 or frame_m2, or set frame = "1 ft2" beside path in field.toml',
        ),
        (WIDE.replace("31", "-31"), 'frame = "1 ft2"', "row 2: has a count below zero"),
        (
            WIDE.replace("stop", "Punkt"),
            'frame = "1 ft2"\n[counts.columns]\nstop = "Punk"',
            "stop names column Punk, which the file has not",
        ),
        (
            WIDE,
            'frame = "1 ft2"\n[counts.columns]\nseeds = "behind combine"\nbefore_header = "Before header"',
            "has seeds beside columns of single positions (before_header); keep one of the two layouts",
        ),
        ("stop,lat,lon,header,rear\nA,41.9,-93.6,,\n", 'frame = "1 ft2"', "holds no count in header, rear; fill in what was counted"),
        (
            "stop,position,seeds,frame_ft2\n1,rear,3,1\n",
            "",
            "no columns say where the stops lie (columns stop, position, seeds, frame_ft2)",
        ),
        ("Wo,n\nrear,1\n", "", 'no column holds seeds, grams or ears; add one named seeds, or write seeds = "..." under [counts.columns]'),
    ],
)
def test_what_a_list_lacks_is_asked_for(field_folder, text, keys, message):
    """The line to write stands in the refusal."""
    with pytest.raises(ReadError) as refused:
        read_counts(facts(field_folder(counts=text), keys))
    assert message in str(refused.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("stop,longitude,latitude,position,frame_ft2\nA,-93.6,41.9,rear,1\n", "no column holds seeds, grams or ears; add one named seeds"),
        ("longitude,latitude,position,seeds,frame_ft2\n-93.6,41.9,rear,3,1\n", "no column names the stop; add one named stop"),
    ],
)
def test_a_list_that_lacks_what_it_is_for_is_refused(field_folder, text, said):
    """Nothing counted, or no stop to count at: the column to add is named."""
    with pytest.raises(ReadError, match=said):
        counts(field_folder, text)


@pytest.mark.parametrize(
    ("columns", "roles"),
    [
        ("stop,lat,lon,position,seeds,frame_ft2", {"stop", "latitude", "longitude", "position", "seeds", "frame"}),
        ("Site,Kernels behind header,behind combine", {"stop", "behind_header", "behind_combine"}),
        ("Point,Longitude,Latitude,Mass flow (lb/s),Header", set()),
        ("longitude,latitude,yield (bu/ac),time", set()),
        ("lat,lon,seeds", set()),
    ],
)
def test_a_list_of_counts_is_known_by_its_words(columns, roles):
    """It names stops, and seeds or positions; a log with running points and a header's state is none."""
    table = pd.DataFrame(columns=columns.split(","))
    assert counted_columns(Raw("list.csv", table, 2)).keys() == roles
