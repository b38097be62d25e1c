"""The house as drawn: floors, mirror of the tests, and what may lie at the top."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

TOP = {
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "Makefile",
    "pyproject.toml",
    "lossmap",
    "pipelines",
    "configs",
    "tests",
    "demo-fields",
    "shared",
}


def modules(root):
    """Every module of the package and the pipelines, without faces and the entry point."""
    found = [*(root / "lossmap").rglob("*.py"), *(root / "pipelines").rglob("*.py")]
    return sorted(path for path in found if path.name not in ("__init__.py", "__main__.py"))


def test_floors_hold(root):
    """import-linter keeps every contract of pyproject.toml."""
    script = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([script], cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-3000:]


def test_every_module_has_its_test_file(root):
    """tests/ is the tree again, file for file."""
    missing = []
    for path in modules(root):
        place = path.relative_to(root / "lossmap") if "lossmap" in path.relative_to(root).parts[:1] else path.relative_to(root)
        expected = root / "tests" / place.parent / f"test_{place.name}"
        if not expected.exists():
            missing.append(str(expected.relative_to(root)))
    assert missing == []


def test_a_room_that_lists_its_files_lists_all(root):
    """Where a package's docstring says what each of its files is for, none is missing and none is made up."""
    drawn = 0
    for face in (root / "lossmap").rglob("__init__.py"):
        listed = re.findall(r"^ *(\w+/?) {2,}\S", ast.get_docstring(ast.parse(face.read_text())) or "", re.MULTILINE)
        if listed and face.parent.name != "lossmap":
            drawn += 1
            there = {path.stem for path in face.parent.glob("*.py")} - {"__init__"}
            assert {name for name in listed if not name.endswith("/")} == there, face.parent.name
    assert drawn > 5


def test_every_test_says_what_it_proves(root):
    """One docstring line a test."""
    silent = [
        f"{path.relative_to(root)}:{node.lineno} {node.name}"
        for path in (root / "tests").rglob("test_*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and not ast.get_docstring(node)
    ]
    assert silent == []


def test_the_top_level_is_as_agreed(root):
    """Nothing lies at the top but what the project's user fixed (hidden files and build leftovers aside)."""
    tracked = subprocess.run(["git", "ls-files"], cwd=root, capture_output=True, text=True, check=False).stdout.split()
    if not tracked:
        pytest.skip("not a git checkout: what is tracked cannot be told")
    assert {name.split("/")[0] for name in tracked if not name.startswith(".")} <= TOP


def test_every_public_function_is_explained_and_typed(root):
    """Names in __all__ have docstrings and full type hints."""
    poor = []
    for path in modules(root):
        tree = ast.parse(path.read_text())
        public = next(
            (
                ast.literal_eval(node.value)
                for node in tree.body
                if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__"
            ),
            [],
        )
        for node in tree.body:
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and node.name in public:
                hinted = not isinstance(node, ast.FunctionDef) or (
                    node.returns is not None and all(arg.annotation is not None for arg in [*node.args.args, *node.args.kwonlyargs])
                )
                if not ast.get_docstring(node) or not hinted:
                    poor.append(f"{path.relative_to(root)}: {node.name}")
    assert poor == []


def test_the_library_is_silent(root):
    """No print, no logging, no warning in lossmap/."""
    loud = [
        f"{path.relative_to(root)}:{node.lineno}"
        for path in (root / "lossmap").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if (isinstance(node, ast.Call) and getattr(node.func, "id", "") == "print")
        or (isinstance(node, (ast.Import, ast.ImportFrom)) and "logging" in ast.dump(node))
        or (isinstance(node, ast.Attribute) and node.attr == "warn")
    ]
    assert loud == []
