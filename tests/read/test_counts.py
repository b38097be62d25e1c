from __future__ import annotations

import pytest

from lossmap.base.errors import ReadError, SettingsError
from lossmap.read import read_counts, read_field

HEAD = "stop,longitude,latitude,position,seeds,frame_ft2,frames\n"


FRAME = "stop,lon,lat,position,seeds,frame\n"


def counts(field_folder, text):
    """The COUNTS table of this text."""
    return read_counts(read_field(field_folder(counts=text)))


def test_frames_and_areas_become_square_metres(field_folder):
    """Four frames of one square foot are 0.3716 m2 together."""
    table = counts(field_folder, HEAD + "A,-93.6,41.9,before header,3,1,4\n")
    assert table["frame_m2"].iloc[0] == pytest.approx(4 * 0.09290304)
    assert table["frames"].iloc[0] == 4


def test_a_frame_may_bring_its_unit_with_it(field_folder):
    """'10 ft2' in the cell is as good as the unit in the header; one frame is the default."""
    table = counts(field_folder, "site,lon,lat,where,kernels,frame\n7,-93.6,41.9,rear,9,10 ft2\n")
    assert table["frame_m2"].iloc[0] == pytest.approx(0.9290304)
    assert (table["stop_id"].iloc[0], table["position"].iloc[0], table["frames"].iloc[0]) == ("7", "behind_combine", 1.0)


@pytest.mark.parametrize(
    ("word", "position"),
    [
        ("before_header", "before_header"),
        ("Pre-harvest", "before_header"),
        ("standing crop", "before_header"),
        ("behind_header", "behind_header"),
        ("header", "behind_header"),
        ("behind_combine", "behind_combine"),
        ("Behind the machine", "behind_combine"),
        ("rear", "behind_combine"),
    ],
)
def test_positions_in_the_trades_words(field_folder, word, position):
    """The contract's words and the trade's are understood."""
    assert counts(field_folder, HEAD + f"1,-93.6,41.9,{word},3,1,1\n")["position"].iloc[0] == position


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (HEAD + "1,-93.6,41.9,sideways,3,1,1\n", 'row 2: position "sideways" is not known'),
        (HEAD + "1,-93.6,41.9,rear,many,1,1\n", 'row 2: seeds "many" is not a number'),
        (HEAD + "1,-93.6,41.9,rear,-3,1,1\n", "row 2: has a count below zero"),
        (HEAD + "1,-93.6,999,rear,3,1,1\n", "row 2: latitude 999 is outside"),
        (HEAD + "1,,41.9,rear,3,1,1\n", "row 2: has no place (longitude and latitude)"),
        (HEAD + "1,-93.6,41.9,rear,3,0,1\n", "row 2: has no frame area above zero"),
        (HEAD + "1,-93.6,41.9,rear,,1,1\n", "row 2: has neither seeds, grams nor ears"),
        (HEAD + ",-93.6,41.9,rear,3,1,1\n", "row 2: stop is blank"),
        ("stop,lon,lat,seeds\n1,-93.6,41.9,3\n", "no column says the position"),
        (FRAME + "1,-93.6,41.9,rear,3,1\n", 'row 2: frame "1" has no unit'),
        (FRAME + "1,-93.6,41.9,rear,3,1 ft2\n2,-93.6,41.9,rear,3,1..2 ft2\n", 'row 3: frame "1..2 ft2" is not a number with a unit; write'),
        (FRAME + "1,-93.6,41.9,rear,3,. ft2\n", 'row 2: frame ". ft2" is not a number with a unit; write for example "1.5 ft2"'),
        (FRAME + '1,-93.6,41.9,rear,3,"1,5 ft2"\n', 'row 2: frame "1,5 ft2" is not a number with a unit; write for example "1.5 ft2"'),
        (FRAME + "1,-93.6,41.9,rear,3,1 lb\n", 'row 2: frame "1 lb": "lb" cannot be turned into m2; write for example "1 ft2"'),
        (FRAME + "1,-93.6,41.9,rear,3,-1 ft2\n", "row 2: has no frame area above zero"),
        (
            HEAD + "1,-93.6,41.9,rear,3,1,1\n1,-93.6,41.9,rear,1e9,1,1\n",
            ": seeds must lie between 0 and 1e+06; 1 do not, the first in row 3 (1e+09)",
        ),
        (HEAD + "1,41.9,-93.6,rear,3,1,1\n", "row 2: longitude and latitude look swapped (latitude is -93.6)"),
        (HEAD + "1,-93.6,41.9,rear,inf,1,1\n", "row 2: seeds inf is no number a machine writes"),
        ("\n\n" + HEAD + "1,-93.6,41.9,rear,-3,1,1\n", "row 4: has a count below zero"),
    ],
)
def test_rows_that_cannot_be_are_refused(field_folder, text, message):
    """Each wrong row is named by its number in the file, with what to write."""
    with pytest.raises(ReadError) as refused:
        counts(field_folder, text)
    assert message in str(refused.value)
    assert str(refused.value).startswith("creek/counts.csv")


@pytest.mark.parametrize("stop", ["inf", "1e300", "-inf"])
def test_a_stop_may_bear_any_name(field_folder, stop):
    """A stop's name is text, also where it looks like an impossible number."""
    assert len(counts(field_folder, HEAD + f"{stop},-93.6,41.9,rear,3,1,1\n")) == 1


def test_a_long_note_is_read(field_folder):
    """Two hundred thousand letters in a note are a note."""
    text = HEAD.replace("frames", "frames,note") + "1,-93.6,41.9,rear,3,1,1," + "x" * 200_000 + "\n"
    assert len(counts(field_folder, text)["note"].iloc[0]) == 200_000


def test_a_missing_word_beside_the_path_of_counts(field_folder):
    """The remedy a refusal offers for a word in a column of numbers works for counts too."""
    folder = field_folder(counts=HEAD + "1,-93.6,41.9,rear,3,1,n/a\n1,-93.6,41.9,rear,4,1,1\n")
    with pytest.raises(ReadError, match=r'set missing = \["n/a"\] beside path'):
        read_counts(read_field(folder))
    file = folder / "field.toml"
    file.write_text(file.read_text().replace('path = "counts.csv"', 'path = "counts.csv"\nmissing = ["n/a"]'))
    assert read_counts(read_field(folder))["frames"].tolist() == [1.0, 1.0]


def test_no_counts_no_map(field_folder):
    """A field that names no counts is told so."""
    with pytest.raises(ReadError, match="names no counts, so there is no loss to map"):
        read_counts(read_field(field_folder(counts=None)))


def test_notes_stay_letter_for_letter(field_folder):
    """What a counter wrote is data and comes through unchanged."""
    note = '=cmd|"calc"!A1 {{7*7}} <b>'
    table = counts(
        field_folder, HEAD.replace("frames", "frames,note") + f'1,-93.6,41.9,rear,3,1,1,"{note.replace(chr(34), chr(34) * 2)}"\n'
    )
    assert table["note"].iloc[0] == note


def facts(folder, keys):
    """The field of the folder, with more keys under its [[counts]]."""
    file = folder / "field.toml"
    file.write_text(file.read_text().replace('path = "counts.csv"', f'path = "counts.csv"\n{keys}'))
    return read_field(folder)


WIDE = "stop,lat,lon,Before header,Kernels behind header,behind combine\nA,41.9,-93.6,3,20,31\nB,41.91,-93.6,,22,0\n"


def test_positions_may_stand_side_by_side(field_folder):
    """A row a stop, as people type it into a spreadsheet: an empty box is no count, a nought is one."""
    table = read_counts(facts(field_folder(counts=WIDE), 'frame = "1 ft2"\nframes = 4'))
    found = {(stop, position): seeds for stop, position, seeds in zip(table["stop_id"], table["position"], table["seeds"], strict=True)}
    assert found == {
        ("A", "before_header"): 3,
        ("A", "behind_header"): 20,
        ("A", "behind_combine"): 31,
        ("B", "behind_header"): 22,
        ("B", "behind_combine"): 0,
    }
    assert table["frame_m2"].tolist() == pytest.approx([4 * 0.09290304] * 5)


def test_side_by_side_is_one_below_the_other(field_folder):
    """Both layouts of the same counts make the same table."""
    long = "stop,lat,lon,position,seeds,frame_ft2\nA,41.9,-93.6,pre,3,1\nA,41.9,-93.6,header,20,1\nA,41.9,-93.6,rear,31,1\n"
    wide = "stop,lat,lon,pre,header,rear,frame_ft2\nA,41.9,-93.6,3,20,31,1\n"
    assert counts(field_folder, long).equals(counts(field_folder, wide))


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ('[counts.columns]\nkoerner = "seeds"', "koerner is no role; the roles are stop, longitude"),
        ('frame = "1 ft"', '"ft" cannot be turned into m2; write for example "1 ft2"'),
        ("frame = 1", 'is not a number with a unit; write for example "1 ft2"'),
        ("frames = 0", "must be 1 to 1,000"),
    ],
)
def test_facts_of_a_list_that_cannot_be(field_folder, keys, message):
    """Misspelt roles, areas that are none and frames below one are refused with field.toml's name."""
    with pytest.raises(SettingsError) as refused:
        facts(field_folder(), keys)
    assert message in str(refused.value)


def test_when_a_frame_was_laid_is_kept(field_folder):
    """A time column becomes UTC; an empty one is as none."""
    rows = "A,-93.6,41.9,rear,3,1,{}\nA,-93.6,41.9,header,3,1,{}\n"
    text = "stop,longitude,latitude,position,seeds,frame_ft2,time\n" + rows
    told = counts(field_folder, text.format("2025-10-18T14:03:07Z", "2025-10-18T14:05:00Z"))
    assert str(told["time"].iloc[0]) == "2025-10-18 14:03:07+00:00"
    assert "time" not in counts(field_folder, text.format("", ""))


def test_stops_that_a_spreadsheet_made_decimals_are_numbers(field_folder):
    """1.0 and 2.0 are stops 1 and 2."""
    text = "stop,longitude,latitude,position,seeds,frame_ft2\n1.0,-93.6,41.9,rear,3,1\n2.0,-93.6,41.91,rear,3,1\n"
    assert counts(field_folder, text)["stop_id"].tolist() == ["1", "2"]
