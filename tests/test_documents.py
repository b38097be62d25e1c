"""The documents are held to the code."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tomllib

import pytest

from documents import example, renewed
from lossmap.base.farm import FarmFacts
from lossmap.base.field import FieldFacts
from lossmap.base.settings import build
from lossmap.base.tables import FLAGS
from lossmap.read import read_counts, read_field


def test_readme_shows_what_the_commands_print(root):
    """The map's line, the check's table and the settings in README are what the commands print today."""
    text = (root / "README.md").read_text()
    assert renewed(text) == text, "run make docs"


def test_the_notebook_example_runs(root):
    """The ten lines of README run as they stand and print stops with their doubt."""
    script = example((root / "README.md").read_text())
    done = subprocess.run([sys.executable, "-c", script], cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "speed tracks" in done.stdout


def test_a_flow_in_one_call_runs(root, tmp_path):
    """README's one call of a flow runs as it stands, here into a folder that is thrown away, in metric units."""
    (script,) = [text for text in blocks_of((root / "README.md").read_text(), "python") if "map_field" in text]
    (tmp_path / "demo-fields").symlink_to(root / "demo-fields")
    done = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("loss 259 kg/ha")
    assert (tmp_path / "out" / "gravel-eighty" / "map.html").exists()


def test_make_knows_what_the_documents_name(root):
    """Every `make target` in README and DEVELOPERS is a target of the Makefile."""
    targets = set(re.findall(r"^([a-z]+):", (root / "Makefile").read_text(), re.MULTILINE))
    for name in ("README.md", "DEVELOPERS.md"):
        named = set(re.findall(r"`?\bmake ([a-z]+)\b`", (root / name).read_text()))
        assert named <= targets, name


def test_every_link_leads_somewhere(root):
    """Relative links and pictures of the documents exist."""
    for name in ("README.md", "DEVELOPERS.md", "demo-fields/README.md", "shared/README.md"):
        file = root / name
        for target in re.findall(r"\]\((?!https?:|#)([^)]+)\)", file.read_text()):
            assert (file.parent / target).exists(), f"{name}: {target}"


def test_pictures_stay_small(root):
    """Whoever clones the repository carries each picture for good."""
    large = {path.name: path.stat().st_size for path in (root / "shared" / "pictures").iterdir() if path.stat().st_size > 150_000}
    assert large == {}


def blocks_of(text, kind):
    """The fenced blocks of one kind."""
    return re.findall(rf"```{kind}\n(.*?)```", text, re.DOTALL)


def test_the_facts_shown_are_facts(root):
    """Every field.toml, part of one, and farm.toml in README is read as it stands."""
    (farm,) = [text for text in blocks_of((root / "README.md").read_text(), "toml") if "[[combine]]" in text]
    assert build(FarmFacts, tomllib.loads(farm), "README").field
    texts = [text for text in blocks_of((root / "README.md").read_text(), "toml") if "[[points]]" in text]
    assert len(texts) == 2
    for text in texts:
        given = {"name": "x", "crop": "corn", "header_width": "30 ft"} | tomllib.loads(text)
        assert build(FieldFacts, given, "README").counts


def test_the_lists_shown_are_lists(root, field_folder):
    """Both layouts of counts in README are read, and stop 1 is the same in both."""
    tables = []
    for text in blocks_of((root / "README.md").read_text(), "csv"):
        folder = field_folder(counts=text)
        file = folder / "field.toml"
        file.write_text(file.read_text().replace('path = "counts.csv"', 'path = "counts.csv"\nframe = "1 ft2"\nframes = 4'))
        counts = read_counts(read_field(folder))
        tables.append(counts.loc[counts["stop_id"] == "1", ["position", "seeds", "frame_m2"]].reset_index(drop=True))
    assert tables[0].equals(tables[1])
    assert len(tables[0]) == 3


def test_nothing_names_this_machine(root):
    """No path of somebody's machine stands in the documents."""
    for name in ("README.md", "DEVELOPERS.md", "demo-fields/README.md", "shared/README.md"):
        assert not re.search(r"/(home|root|work|tmp)/", (root / name).read_text()), name


def test_the_glossary_words_are_used(root):
    """The words of the glossary are the names in the contracts."""
    text = (root / "DEVELOPERS.md").read_text()
    for word in ("before_header", "behind_header", "behind_combine", "rng_seed", "flag", "zone"):
        assert word in text
    assert len(set(FLAGS)) == len(FLAGS)


@pytest.mark.skipif("CI" not in os.environ, reason="CI alone must have the browser")
def test_ci_has_the_browser():
    """In CI the page tests cannot be skipped for want of a browser."""
    assert subprocess.run(["chromium", "--version"], capture_output=True, check=False).returncode == 0
