"""The TOML files: a field's facts and a run's settings."""

from __future__ import annotations

import hashlib
import os
import re
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar

from lossmap.base.errors import NoReference, ReadError, SettingsError, shown
from lossmap.base.field import Field, FieldFacts
from lossmap.base.reference import crop
from lossmap.base.settings import Settings, Strict, build, overridden
from lossmap.read.raw import reading

__all__ = ["facts_file", "fingerprints", "is_file", "read_chosen", "read_field", "read_settings", "read_toml", "sha256"]

FACTS = "field.toml"

#: A farm of five thousand fields takes two million.
MOST_BYTES = 10_000_000

Chosen = TypeVar("Chosen", bound=Strict)


def read_field(path: Path) -> Field:
    """The field of a folder, or of its ``field.toml``.

    Raises
    ------
    SettingsError
        No such folder or file, a fact in it is wrong, or a path leads out of it; lists every fault.
    ReadError
        A file it names is not there.
    """
    path = Path(path)
    folder, file, where = facts_file(path, FACTS)
    if not is_file(file):
        raise SettingsError(f"{shown(path, 200)}: {_nothing_there(path)}")
    facts = build(FieldFacts, read_toml(file, where), where)
    try:
        grown = crop(facts.crop)
    except NoReference as unknown:
        raise SettingsError(f"{where}: crop: {unknown}") from unknown
    field = Field(folder, facts, grown)
    _missing_files(field, where)
    return field


def facts_file(path: Path, name: str) -> tuple[Path, Path, str]:
    """The folder, the file of facts in it, and how messages call that, of a path that may be either.

    Raises
    ------
    SettingsError
        The folder cannot be looked into, or has no name that results could bear.
    """
    folder, file = (path.parent, path) if path.name == name else (path, path / name)
    try:
        folder = folder.resolve()
    except (OSError, RuntimeError, ValueError) as fault:  # too long, links that lead to one another, a null character
        raise SettingsError(f"{shown(path, 200)}: is no name of a folder ({shown(fault)}); correct it") from fault
    if not folder.name or not folder.name.isprintable():
        raise SettingsError(f"{shown(folder, 200)}: has no name that results could be called by; rename the folder in plain letters")
    return folder, file, f"{folder.name}/{name}"


def is_file(path: Path) -> bool:
    """Whether there is such a file, as far as the system lets us see."""
    try:
        return path.is_file()
    except OSError as fault:
        raise SettingsError(f"{shown(path, 200)}: cannot be looked at ({fault.strerror}); check its name and rights") from fault


def read_settings(file: Path | None = None, assignments: Sequence[str] = ()) -> Settings:
    """The settings of a map: defaults, under a config file, under each ``--set``.

    Parameters
    ----------
    file : Path, optional
    assignments : sequence of str
        As typed behind ``--set``: ``["grid.cell=10 m"]``.

    Raises
    ------
    SettingsError
    """
    return read_chosen(Settings, file, assignments)


def read_chosen(model: type[Chosen], file: Path | None, assignments: Sequence[str] = ()) -> Chosen:
    """The settings of any flow, as a `model`.

    Raises
    ------
    SettingsError
    """
    values = read_toml(file, str(file)) if file else {}
    # a run.toml says beside its settings what they were used on
    values = values["settings"] if {"settings", "inputs_sha256"} <= values.keys() else values
    # the file alone first, so that its faults are named as its own
    build(model, values, str(file))
    return build(model, overridden(values, list(assignments)), "--set" if assignments else str(file))


def fingerprints(field: Field) -> dict[str, str]:
    """SHA-256 of every file the field names, by the name it has there."""
    names = [FACTS, *([field.facts.boundary] if field.facts.boundary else []), *(part.path for part in field.facts.points)]
    names += [part.path for part in field.facts.counts]
    return {name: sha256(field.file(name), f"{field.id}/{name}") for name in names}


def sha256(path: Path, where: str) -> str:
    """Of a file's bytes.

    Raises
    ------
    ReadError
        It cannot be read, or no longer.
    """
    # a folder (a log of many files) is hashed by the names and contents of all its files
    if path.is_dir():
        inner = hashlib.sha256()
        with reading(where):
            files = sorted(file for file in path.rglob("*") if file.is_file())
        for file in files:
            inner.update(os.fsencode(file.relative_to(path)) + bytes.fromhex(sha256(file, where)))
        return inner.hexdigest()
    with reading(where), path.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _nothing_there(path: Path) -> str:
    if not path.exists():
        return "no such folder; give the folder that holds field.toml"
    if path.is_file():
        return "is not a field.toml; give the folder that holds one"
    if (path / "farm.toml").exists():
        return "is a farm (it holds farm.toml), not a field; run lossmap rank on it"
    if inner := sorted(path.glob(f"*/{FACTS}"))[:1]:
        return f"holds no field.toml, but {shown(inner[0].parent.name)} in it does; give that folder, or run lossmap season on this one"
    return "holds no field.toml; write one with at least name, crop, header_width, [[points]] and [[counts]]"


def read_toml(file: Path, where: str) -> dict[str, Any]:
    """What a TOML file holds.

    Raises
    ------
    SettingsError
    """
    try:
        with file.open("rb") as opened:
            content = opened.read(MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            raise SettingsError(f"{where}: is larger than {MOST_BYTES / 1e6:g} MB, which no such file is; give the right file")
        return tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as fault:
        slash = " and a path has / between its folders, not a backslash" if "scape" in str(fault) or "hex" in str(fault) else ""
        hint = "each key and table stands once" if re.search("twice|overwrite", str(fault)) else f"texts stand in quotes{slash}"
        raise SettingsError(f"{where}: is not TOML ({fault}); {hint}") from fault
    except SettingsError:
        raise
    except UnicodeDecodeError as fault:
        raise SettingsError(f"{where}: is not UTF-8 text (byte {fault.start}); save it as UTF-8") from fault
    except RecursionError as fault:
        raise SettingsError(f"{where}: is nested too deeply; tables stand at most three deep") from fault
    except ValueError as fault:  # a number of thousands of digits
        raise SettingsError(f"{where}: is not TOML ({shown(fault, 120)}); correct it") from fault
    except OSError as fault:
        raise SettingsError(f"{where}: cannot be read ({fault.strerror}); check its name and rights") from fault


def _missing_files(field: Field, where: str) -> None:
    facts = field.facts
    named: Iterable[tuple[str, str]] = [
        *([("boundary", facts.boundary)] if facts.boundary else []),
        *((f"points[{i}].path", part.path) for i, part in enumerate(facts.points, 1)),
        *((f"counts[{i}].path", part.path) for i, part in enumerate(facts.counts, 1)),
    ]
    faults, is_missing = [], False
    for key, name in named:
        try:
            if not _exists(field.file(name)):
                faults.append(f"{where}: {key}: no such file ({shown(name)}); paths are relative to field.toml")
                is_missing = True
        except SettingsError as outside:
            faults.append(str(outside))
    if faults:
        raise (ReadError if is_missing else SettingsError)("\n".join(faults))


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:  # a name longer than the system takes
        return False
