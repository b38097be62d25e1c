"""What a user installs is whole: the wheel carries the flows, the tables and the page assets."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile


def test_the_wheel_carries_everything(root, tmp_path):
    """Pipelines as lossmap.pipelines, reference tables, page assets, the type marker and the licence are in the wheel."""
    # a copy: the build leaves folders beside the sources
    copy = tmp_path / "copy"
    shutil.copytree(root, copy, ignore=shutil.ignore_patterns(".*", "out", "build", "*.egg-info", "__pycache__", "demo-fields"))
    command = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--quiet", "--wheel-dir", tmp_path, copy]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    names = set(zipfile.ZipFile(next(tmp_path.glob("*.whl"))).namelist())
    wanted = {
        path.relative_to(root).as_posix() for path in [*(root / "lossmap").rglob("*")] if path.is_file() and "__pycache__" not in path.parts
    }
    wanted |= {f"lossmap/pipelines/{path.name}" for path in (root / "pipelines").glob("*.py")}
    assert wanted - names == set()
    assert any(name.endswith("LICENSE") for name in names)
