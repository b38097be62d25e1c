"""Licences of what lossmap needs to run, read from what is installed: ``make docs`` writes the table, a test compares."""

from __future__ import annotations

import importlib.metadata
import re
from collections.abc import Iterator
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
TABLE = ROOT / "shared" / "licences.md"

HEAD = """\
# Licences of what lossmap needs to run

Written by `python tests/licences.py` (`make docs`) from the metadata of the packages installed with it; lossmap's own licence
is MIT. A wheel may carry further libraries under their own terms (GDAL, PROJ, GEOS, OpenBLAS and the like): their texts are
among its licence files. Only Leaflet is copied into what lossmap writes, its licence with it.

| package | licence | by | licence files |
|---|---|---|---|
"""


def distributions(name: str = "lossmap") -> dict[str, importlib.metadata.Distribution]:
    """What `name` needs to run here, it and all that these need, by name."""
    found: dict[str, importlib.metadata.Distribution] = {}
    asked = [name]
    while asked:
        one = canonicalize_name(asked.pop())
        if one not in found:
            found[one] = importlib.metadata.distribution(one)
            needs = [Requirement(line) for line in found[one].requires or []]
            asked += [need.name for need in needs if need.marker is None or need.marker.evaluate({"extra": ""})]
    return dict(sorted((one, made) for one, made in found.items() if one != name))


def licence(made: importlib.metadata.Distribution) -> tuple[str, str]:
    """The licence and where it is said: an SPDX expression, else a short word of the package's own, else its classifiers."""
    said = made.metadata
    if said.get("License-Expression"):
        return said["License-Expression"], "SPDX expression"
    if said.get("License") and len(said["License"]) < 40:
        return said["License"], "licence field"
    classes = [line.split(" :: ")[-1] for line in said.get_all("Classifier") or [] if line.startswith("License ::")]
    return "; ".join(classes) or "not said", "classifier"


def files(made: importlib.metadata.Distribution) -> Iterator[str]:
    """Names of the licence files that the package carries beside its metadata."""
    for file in made.files or []:
        if ".dist-info" in file.parts[0] and re.search(r"licen[cs]e|copying|notice", file.name, re.IGNORECASE):
            yield file.name


def table() -> str:
    """The whole file."""
    rows = [f"| {name} | {' | '.join(licence(made))} | {', '.join(sorted(set(files(made))))} |" for name, made in distributions().items()]
    return HEAD + "\n".join(rows) + "\n"


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8")
