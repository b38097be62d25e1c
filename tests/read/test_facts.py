from __future__ import annotations

import pytest

from lossmap.base.errors import ReadError, SettingsError
from lossmap.base.settings import Settings
from lossmap.read import fingerprints, read_field, read_settings


def test_a_field_is_read_with_its_crop_and_si_widths(field_folder):
    """Facts come out in SI with the crop's row; discharge width defaults to the header's."""
    field = read_field(field_folder())
    assert field.id == "creek"
    assert field.crop.name == "corn"
    assert field.facts.header_width == pytest.approx(9.144)
    assert field.discharge_width_m == pytest.approx(9.144)


def test_the_file_itself_may_be_named(field_folder):
    """FIELD may be the folder or its field.toml."""
    folder = field_folder()
    assert read_field(folder / "field.toml") == read_field(folder)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (('header_width = "30 ft"', 'header_widht = "30 ft"'), "creek/field.toml: header_widht: no such key; did you mean header_width?"),
        (
            ('header_width = "30 ft"', "header_width = 30"),
            'creek/field.toml: header_width: 30 is not a number with a unit; write for example "30 ft"',
        ),
        (
            ('header_width = "30 ft"', 'header_width = "30 bu"'),
            'creek/field.toml: header_width: "bu" cannot be turned into m; write for example "30 ft"',
        ),
        (
            ('header_width = "30 ft"', 'header_width = "30"'),
            'creek/field.toml: header_width: "30" is not a number with a unit; write for example "30 ft"',
        ),
        (('crop = "corn"', 'crop = "cornn"'), 'creek/field.toml: crop: "cornn" is not in the crop table; did you mean corn?'),
        (('name = "Made creek"', "name = Made creek"), "creek/field.toml: is not TOML"),
    ],
)
def test_a_wrong_fact_is_refused_where_it_stands(field_folder, change, message):
    """A misspelt key, a bare number, an unknown crop and broken TOML each get one clear message."""
    folder = field_folder()
    file = folder / "field.toml"
    file.write_text(file.read_text().replace(*change))
    with pytest.raises(SettingsError) as refused:
        read_field(folder)
    assert message in str(refused.value)


def test_every_fault_of_a_file_is_named_at_once(field_folder):
    """Two faults make two lines, not two runs."""
    folder = field_folder(facts='name = "Made creek"\ncorp = "corn"\n')
    with pytest.raises(SettingsError) as refused:
        read_field(folder)
    assert [line.split(": ")[1] for line in str(refused.value).splitlines()] == ["crop", "header_width", "corp"]


def test_a_path_out_of_the_folder_is_refused(field_folder):
    """Nothing outside the field's folder is read, by .. or by a link."""
    folder = field_folder()
    file = folder / "field.toml"
    file.write_text(file.read_text().replace("points.csv", "../other.csv"))
    with pytest.raises(SettingsError, match="lies outside the field's folder"):
        read_field(folder)
    (folder / "linked.csv").symlink_to("/etc/hostname")
    file.write_text(file.read_text().replace("../other.csv", "linked.csv"))
    with pytest.raises(SettingsError, match="lies outside the field's folder"):
        read_field(folder)


def test_a_missing_file_weighs_more_than_one_outside(field_folder):
    """Both faults come in one message, with the exit code of a file that cannot be read."""
    folder = field_folder()
    file = folder / "field.toml"
    file.write_text(file.read_text().replace("points.csv", "../other.csv").replace("counts.csv", "gone.csv"))
    with pytest.raises(ReadError) as refused:
        read_field(folder)
    assert str(refused.value).splitlines() == [
        "creek/field.toml: ../other.csv lies outside the field's folder; copy the file into the folder",
        "creek/field.toml: counts[1].path: no such file (gone.csv); paths are relative to field.toml",
    ]


def test_a_name_no_system_takes_is_no_file(field_folder):
    """A name of five thousand letters is a missing file, shown cut short; one with a null character is no name."""
    folder = field_folder()
    file = folder / "field.toml"
    text = file.read_text()
    file.write_text(text.replace("points.csv", "x" * 5000))
    with pytest.raises(ReadError, match=r"points\[1\]\.path: no such file \(x{59}…\)"):
        read_field(folder)
    file.write_text(text.replace("points.csv", "\\u0000"))
    with pytest.raises(SettingsError) as refused:
        read_field(folder)
    assert str(refused.value) == 'creek/field.toml: "\N{REPLACEMENT CHARACTER}" is no name of a file; correct the path'


@pytest.mark.parametrize(
    "line",
    ["x = " + "[" * 3000 + "]" * 3000, "name" + ".a" * 3000 + " = 1"],
    ids=["lists", "keys"],
)
def test_toml_nested_without_end_is_refused(field_folder, line):
    """Three thousand brackets or dots are a fault of the file, not of the program."""
    folder = field_folder(facts=f"{line}\n")
    with pytest.raises(SettingsError) as refused:
        read_field(folder)
    assert str(refused.value) == "creek/field.toml: is nested too deeply; tables stand at most three deep"


def test_a_number_too_long_to_read_is_refused(field_folder):
    """A number of five thousand digits is no TOML lossmap reads."""
    with pytest.raises(SettingsError, match=r"^creek/field\.toml: is not TOML \(Exceeds the limit"):
        read_field(field_folder(facts="header_width = " + "9" * 5000))


def test_a_missing_file_is_named_with_its_key(field_folder):
    """A points file that is not there is said before anything is computed."""
    folder = field_folder()
    (folder / "points.csv").unlink()
    with pytest.raises(ReadError) as refused:
        read_field(folder)
    assert str(refused.value) == "creek/field.toml: points[1].path: no such file (points.csv); paths are relative to field.toml"


def test_no_folder_and_no_facts(tmp_path):
    """A path to nothing, and a folder without field.toml, say what to give."""
    with pytest.raises(SettingsError, match="no such folder"):
        read_field(tmp_path / "nowhere")
    with pytest.raises(SettingsError, match=r"holds no field\.toml"):
        read_field(tmp_path)


def test_a_farm_or_a_season_taken_for_a_field(field_folder, tmp_path):
    """Whoever gives a farm's folder, or one full of fields, is told the command for it."""
    with pytest.raises(
        SettingsError, match="holds no field.toml, but creek in it does; give that folder, or run lossmap season on this one"
    ):
        read_field(field_folder().parent)
    (tmp_path / "farm.toml").write_text("")
    with pytest.raises(SettingsError, match=r"is a farm \(it holds farm.toml\), not a field; run lossmap rank on it"):
        read_field(tmp_path)


@pytest.mark.parametrize("path", [r"C:\Users\me\log.csv", r"logs\my.csv"])
def test_a_path_with_backslashes(field_folder, path):
    """What a path copied from a window needs is said."""
    folder = field_folder()
    (folder / "field.toml").write_text(f'name = "x"\nboundary = "{path}"\n')
    with pytest.raises(SettingsError, match="a path has / between its folders, not a backslash"):
        read_field(folder)


def test_what_is_missing_comes_with_an_example(field_folder):
    """The line to write stands in the refusal."""
    folder = field_folder()
    (folder / "field.toml").write_text("")
    with pytest.raises(SettingsError) as refused:
        read_field(folder)
    assert str(refused.value).splitlines() == [
        'creek/field.toml: name: is missing; add it, for example name = "Creek piece"',
        'creek/field.toml: crop: is missing; add it, for example crop = "corn"',
        'creek/field.toml: header_width: is missing; add it, for example header_width = "30 ft"',
    ]


def test_settings_come_in_layers(tmp_path):
    """Defaults < file < --set."""
    file = tmp_path / "season.toml"
    file.write_text('[grid]\ncell = "8 m"\n[clean]\nturn = "30 deg"\n')
    settings = read_settings(file, ['grid.cell="10 m"', "report.units=metric"])
    assert (settings.grid.cell, settings.clean.turn, settings.report.units) == (10.0, 30.0, "metric")
    assert read_settings() == Settings()
    assert read_settings(assignments=["grid.cell=10 m"]).grid.cell == 10.0


def test_a_run_made_again(tmp_path):
    """A run.toml given as a config is read for its settings; a config with a table of that name is still refused."""
    file = tmp_path / "run.toml"
    file.write_text('lossmap = "1"\n[settings.grid]\ncell = "8 m"\n[inputs_sha256]\n"a.csv" = "00"\n')
    assert read_settings(file).grid.cell == 8.0
    file.write_text('[settings.grid]\ncell = "8 m"\n')
    with pytest.raises(SettingsError, match="settings: no such key"):
        read_settings(file)


@pytest.mark.parametrize("twice", ["[grid]\n[grid]\n", "rng_seed = 1\nrng_seed = 2\n"])
def test_what_stands_twice_is_said(tmp_path, twice):
    """A table or key written twice gets that hint, not the one about quotes."""
    file = tmp_path / "season.toml"
    file.write_text(twice)
    with pytest.raises(SettingsError, match="each key and table stands once"):
        read_settings(file)


def test_a_wrong_setting_names_the_nearest(tmp_path):
    """A misspelt setting is refused with the file it stands in and the nearest known one."""
    file = tmp_path / "season.toml"
    file.write_text('[clean]\njump_sped = "9 mph"\n')
    with pytest.raises(SettingsError) as refused:
        read_settings(file)
    assert str(refused.value) == f"{file}: clean.jump_sped: no such key; did you mean clean.jump_speed?"


def test_fingerprints_change_with_the_content(field_folder):
    """The hash of an input changes with one byte of it, and only that one's."""
    folder = field_folder()
    before = fingerprints(read_field(folder))
    (folder / "counts.csv").write_text((folder / "counts.csv").read_text() + "\n")
    after = fingerprints(read_field(folder))
    assert [name for name in before if before[name] != after[name]] == ["counts.csv"]
    assert set(before) == {"field.toml", "points.csv", "counts.csv"}
