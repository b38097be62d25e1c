"""What the project stands on: each dependency used and declared, with a floor, locked by hash, its licence known."""

from __future__ import annotations

import ast
import importlib.metadata
import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from licences import TABLE, distributions, table

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
LOCK = (ROOT / ".ci" / "requirements.lock").read_text(encoding="utf-8")
EXTRAS = PROJECT["project"]["optional-dependencies"]
RUN = [Requirement(line) for line in PROJECT["project"]["dependencies"]]
# an extra that is not for those who work on lossmap is for those who use it, and may be imported where it is asked for
USERS = [Requirement(line) for name, lines in EXTRAS.items() if name not in ("dev", "validators") for line in lines]
EXTRA = [one for lines in EXTRAS.values() for one in map(Requirement, lines) if one.name != "lossmap"]

#: Modules whose package needs no line of its own, and why.
COMES_WITH = {"pydantic_core": "pydantic"}  # pydantic requires exactly one version of it, and tells its users to import from it

#: Installed by whoever fuzzes; CI does not.
BY_HAND = {"atheris"}

#: Packages that no import names, and the words by which they are used.
NAMED = {
    "django-js-lib-leaflet": '"js_lib_leaflet"',  # files, read as resources
    "types-shapely": "[tool.mypy]",  # types for mypy, which finds them by themselves
    "pandas-stubs": "[tool.mypy]",
    "selenium-axe-python": '"selenium_axe_python"',
    "pytest-xdist": "-n 2",
    "ruff": "/ruff",
    "mypy": "/mypy",
    "import-linter": "/lint-imports",
    "uv": "/uv ",
    "setuptools": "setuptools.build_meta",
}


def imported(*folders: str) -> set[str]:
    """Top names of every import below the folders, the standard library's and our own left out."""
    ours = {"lossmap", "pipelines", *(path.stem for path in (ROOT / "tests").rglob("*"))}
    names: set[str] = set()
    for path in (path for folder in folders for path in (ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                names.add((node.module or "").split(".")[0])
    return names - set(sys.stdlib_module_names) - ours


def packages_of(modules: set[str]) -> set[str]:
    """Names of the packages that bring these modules; a module that nothing brings stands for itself."""
    brought = importlib.metadata.packages_distributions()
    own = {COMES_WITH.get(module, module) for module in modules}
    return {canonicalize_name(name) for module in own for name in brought.get(module, [module])[:1]}


def names(requirements: list[Requirement]) -> set[str]:
    """Their names as an index knows them."""
    return {canonicalize_name(one.name) for one in requirements}


def test_nothing_is_imported_that_is_not_declared() -> None:
    """The library imports only dependencies; tests and the made fields also what the extras bring."""
    assert packages_of(imported("lossmap", "pipelines")) - names(RUN) - names(USERS) == set()
    assert packages_of(imported("tests", "demo-fields")) - names(RUN) - names(EXTRA) == set()


def test_nothing_is_declared_that_is_not_used() -> None:
    """Each dependency is imported where it belongs, or named in the way it is used."""
    read = "".join((ROOT / name).read_text(encoding="utf-8") for name in ("Makefile", "pyproject.toml"))
    code = [path for folder in ("lossmap", "tests") for path in (ROOT / folder).rglob("*.py") if path.name != Path(__file__).name]
    read += "".join(path.read_text(encoding="utf-8") for path in code)
    by_name = {name for name, word in NAMED.items() if word in read}
    assert names(RUN) - packages_of(imported("lossmap", "pipelines")) - by_name == set()
    assert names(EXTRA) - packages_of(imported("lossmap", "pipelines", "tests")) - by_name == set()


def test_each_dependency_has_a_floor() -> None:
    """Whoever resolves downwards ends at a version that was tried (`make oldest`); stubs of types aside."""
    bare = {one.name for one in [*RUN, *EXTRA] if not any(bound.operator in (">=", "==") for bound in one.specifier)}
    assert bare == {"types-shapely", "pandas-stubs"}


def test_the_lock_answers_every_dependency() -> None:
    """Each is locked at a version that pyproject.toml admits; run `make lock` after a change there."""
    locked: dict[str, list[str]] = {}
    for name, version in re.findall(r"^([\w.-]+)==([^ ;\\]+)", LOCK, re.MULTILINE):
        locked.setdefault(canonicalize_name(name), []).append(version)
    for one in [one for one in [*RUN, *EXTRA] if one.name not in BY_HAND]:
        versions = locked.get(canonicalize_name(one.name), [])
        assert versions, f"{one.name} is not in the lock; run make lock"
        assert all(one.specifier.contains(version, prereleases=True) for version in versions), (str(one), versions)


def test_every_locked_package_has_its_hashes_and_no_address() -> None:
    """Any index that serves the same files will do, and no other file passes."""
    entries = re.split(r"^(?=[\w.-]+==)", LOCK, flags=re.MULTILINE)[1:]
    assert len(entries) > 80
    assert [entry.splitlines()[0] for entry in entries if "--hash=sha256:" not in entry] == []
    assert "://" not in LOCK


def test_the_licences_are_those_of_what_runs() -> None:
    """Every package that lossmap needs here stands in shared/licences.md, and each there has a licence."""
    rows = [line for line in TABLE.read_text(encoding="utf-8").splitlines() if line.startswith("| ")][1:]
    listed = {row.split(" | ")[0].removeprefix("| ") for row in rows}
    assert set(distributions()) <= listed, "run make docs"
    assert not [row for row in rows if "not said" in row]


def test_the_licences_are_as_written() -> None:
    """With the packages of the lock the table comes out as it stands, to the byte."""
    locked = dict(re.findall(r"^([\w.-]+)==([^ ;\\]+)", LOCK, re.MULTILINE))
    for name, made in distributions().items():
        if name in locked and not re.search(rf"^{re.escape(name)}=={re.escape(made.version)}\b", LOCK, re.MULTILINE):
            pytest.skip(f"{name} {made.version} is not the locked one")
    assert table() == TABLE.read_text(encoding="utf-8"), "run make docs"


#: What npm or `make locked` says, whether CI goes on, and what its log must hold.
FALLBACKS = {
    "all is there": ("", "", True, "tests without npm: no"),
    "a registry that does not answer": ("npm error code ECONNREFUSED", "", True, "no html-validate here"),
    "html5lib alone": ("npm: command not found", "", True, "tests without npm: 1"),
    "a page judge whose hash differs": ("npm error code EINTEGRITY", "", False, "EINTEGRITY"),
    "a judge's lock that does not fit its list": ("npm ERR! code EUSAGE", "", False, "EUSAGE"),
    "an index without a version": ("", "ERROR: No matching distribution found for a==9", True, "the newest that pyproject.toml"),
    "a package whose hash differs": ("", "ERROR: THESE PACKAGES DO NOT MATCH THE HASHES", False, "DO NOT MATCH"),
}


@pytest.mark.skipif(shutil.which("bash") is None, reason="CI's script needs bash")
@pytest.mark.parametrize("case", FALLBACKS)
def test_ci_goes_without_what_is_missing_and_fails_on_what_differs(case: str, tmp_path: Path) -> None:
    """With stand-ins for npm, make and apt-get: what is missing is said and the tests run; another file than the locked one ends it."""
    npm, locked, goes_on, said = FALLBACKS[case]
    programs = tmp_path / "bin"
    programs.mkdir()
    scripts = {
        "npm": f"echo {npm!r}; exit {int(bool(npm))}",
        "make": f"[ $1 != locked ] || {{ echo {locked!r}; exit {int(bool(locked))}; }}\n"
        '[ $1 != test ] || echo tests without npm: "${LOSSMAP_WITHOUT_NPM:-no}"',
        **dict.fromkeys(("apt-get", "chromium", "chromedriver", "ogrinfo"), "exit 0"),
    }
    for name, body in scripts.items():
        (programs / name).write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
        (programs / name).chmod(0o755)
    (tmp_path / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", tmp_path / ".ci" / "run")
    environment = {name: value for name, value in os.environ.items() if name != "LOSSMAP_WITHOUT_NPM"}
    environment["PATH"] = f"{programs}{os.pathsep}{environment['PATH']}"
    done = subprocess.run([tmp_path / ".ci" / "run"], env=environment, capture_output=True, text=True, check=False)
    assert (done.returncode == 0) == goes_on == ("tests without npm" in done.stdout), done.stdout + done.stderr
    assert said in done.stdout
