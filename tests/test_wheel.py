"""What a user installs is whole: wheel and sdist carry everything, and run where nothing else of lossmap is."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import zipfile
from pathlib import Path

import pytest

BUILD = "import sys, setuptools.build_meta as made; out = sys.argv[1]; made.build_sdist(out); made.build_wheel(out)"
KINDS = {"wheel": "*.whl", "sdist": "*.tar.gz"}


@pytest.fixture(scope="module")
def built(root: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the wheel and the sdist, built from a copy: the build leaves folders beside the sources."""
    copy, out = tmp_path_factory.mktemp("source") / "copy", tmp_path_factory.mktemp("built")
    shutil.copytree(root, copy, ignore=shutil.ignore_patterns(".*", "out", "build", "*.egg-info", "__pycache__", "demo-fields"))
    done = subprocess.run([sys.executable, "-c", BUILD, out], cwd=copy, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return out


def wanted(root: Path) -> set[str]:
    """Every file of the library."""
    return {
        path.relative_to(root).as_posix() for path in (root / "lossmap").rglob("*") if path.is_file() and "__pycache__" not in path.parts
    }


def test_the_wheel_carries_everything(root: Path, built: Path) -> None:
    """Pipelines as lossmap.pipelines, reference tables, page assets, the type marker and the licence are in the wheel, tests are not."""
    names = set(zipfile.ZipFile(next(built.glob("*.whl"))).namelist())
    flows = {f"lossmap/pipelines/{path.name}" for path in (root / "pipelines").glob("*.py")}
    assert (wanted(root) | flows) - names == set()
    assert any(name.endswith("LICENSE") for name in names)
    assert {name.split("/")[0] for name in names if ".dist-info" not in name} == {"lossmap"}


def test_the_sdist_carries_everything(root: Path, built: Path) -> None:
    """The same files, with what it takes to build them."""
    with tarfile.open(next(built.glob("*.tar.gz"))) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    flows = {path.relative_to(root).as_posix() for path in (root / "pipelines").glob("*.py")}
    assert (wanted(root) | flows | {"pyproject.toml", "README.md", "LICENSE"}) - names == set()


@pytest.mark.parametrize("kind", KINDS)
def test_it_runs_in_an_empty_environment(kind: str, root: Path, built: Path, tmp_path: Path) -> None:
    """Installed beside its dependencies and nothing else, away from the sources, the command prints its settings and maps a field."""
    place = tmp_path / "empty"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", place], check=True)
    python = place / "bin" / "python"
    asked = [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"]
    here = Path(subprocess.run(asked, capture_output=True, text=True, check=True).stdout.strip())
    # of this environment its packages alone: a path in a .pth brings no other .pth, and so not this tree
    (here / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n")
    install = [sys.executable, "-m", "pip", "--python", python, "install", "--quiet", "--no-deps", "--no-index", "--no-build-isolation"]
    done = subprocess.run([*install, "--ignore-installed", next(built.glob(KINDS[kind]))], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    bare = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}

    def run(*words: str | Path) -> str:
        ran = subprocess.run([*words], cwd=tmp_path, env=bare, capture_output=True, text=True, check=False)
        assert ran.returncode == 0, ran.stderr
        return ran.stdout

    assert Path(run(python, "-c", "import lossmap; print(lossmap.__file__)").strip()).is_relative_to(place)
    assert "[grid]" in run(place / "bin" / "lossmap", "settings")
    assert "loss 3.1 bu/ac" in run(place / "bin" / "lossmap", "map", root / "demo-fields" / "mill-strip", "--quiet")
    assert (tmp_path / "out" / "mill-strip" / "map.html").exists()
