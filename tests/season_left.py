"""What a season leaves: whose each field's results and the season's own files are, and whether they are whole."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd

from lossmap.pipelines.turns import in_turn

__all__ = ["FIELDS", "Known", "Season", "disagreeing"]

FIELDS = ("north/creek", "pond/creek", "south/creek")
FILES = ("season.html", "season.geojson", "season.parquet", "season.csv", "summary.json")
MINE = "my notes.txt"
_OF_THE_RUN = re.compile(r"(, [\d,.]+ (s|minutes) of work)|([\d,]+ fields? mapped in this run, [\d,]+ taken over)")

Files = dict[str, str]


@dataclass(frozen=True)
class Season:
    """A season on made fields, and what it leaves."""

    folder: Path

    @property
    def out(self) -> Path:
        """Where its results lie."""
        return self.folder / "out" / "farm"

    def words(self, earlier: bool) -> list[str]:
        """The command."""
        units = f"report.units={'metric' if earlier else 'us'}"
        return ["season", str(self.folder / "farm"), "--out", str(self.out.parent), "--cores", "2", "-q", "--set", units]

    def of_field(self, field_id: str) -> Files:
        """A field's results by their contents, without the seconds in run.toml."""
        found, place = {}, self.out / field_id
        with in_turn(place.parent):  # workers of a driver that is no more may be at it
            for path in sorted(place.iterdir()) if place.is_dir() else ():
                content = path.read_bytes().partition(b"[seconds]")[0] if path.name == "run.toml" else path.read_bytes()
                found[path.name] = hashlib.sha256(content).hexdigest()
        return found

    def own(self) -> Files:
        """The season's own files by what they say; without what is of one run alone: its seconds, and which fields it took over."""
        return {name: said(self.out / name) for name in (*FILES, MINE) if (self.out / name).is_file()}

    def results(self) -> dict[str, Files]:
        """All of it; "" is the season itself."""
        return {field_id: self.of_field(field_id) for field_id in FIELDS} | {"": self.own()}

    def beside(self) -> list[str]:
        """What is hidden, anywhere below the place for results."""
        return sorted(path.relative_to(self.folder).as_posix() for path in self.out.parent.rglob(".*"))


def said(file: Path) -> str:
    """What a file of the season says, as a digest; "half" where it breaks off."""
    try:
        if file.name == "summary.json":
            content = json.loads(file.read_text())
            values = content | {"remade": 0, "fields": [row | {"remade": 0, "seconds": 0} for row in content["fields"]]}
        elif file.name == "season.geojson":
            content = json.loads(file.read_text())
            values = [(one["properties"] | {"remade": 0, "seconds": 0}, one["geometry"]) for one in content["features"]]
        elif file.name == "season.html":
            values = _OF_THE_RUN.sub("", file.read_text()) if file.read_text().rstrip().endswith("</html>") else "half"
        elif file.suffix in (".csv", ".parquet"):
            values = table(file).drop(columns=["remade", "seconds"]).to_csv(index=False)
        else:
            values = file.read_text()
    except (ValueError, KeyError, OSError) as fault:
        return f"half ({fault})"
    return hashlib.sha256(json.dumps(values).encode()).hexdigest()


def table(file: Path) -> pd.DataFrame:
    """The season's rows, without their outlines."""
    return pd.read_csv(file) if file.suffix == ".csv" else pd.DataFrame(gpd.read_parquet(file).drop(columns="geometry"))


def disagreeing(out: Path) -> list[str]:
    """Files of the season that are not of the run that wrote its summary.json: seconds are of one run alone."""
    if not all((out / name).is_file() for name in FILES):
        return []
    rows = json.loads((out / "summary.json").read_text())["fields"]
    seconds = {row["field_id"]: row["seconds"] for row in rows}
    features = json.loads((out / "season.geojson").read_text())["features"]
    told = {name: table(out / name).set_index("field_id")["seconds"].to_dict() for name in ("season.csv", "season.parquet")}
    told["season.geojson"] = {one["properties"]["field_id"]: one["properties"]["seconds"] for one in features}
    wrong = [
        name for name, found in told.items() if found.keys() != seconds.keys() or any(abs(found[k] - seconds[k]) > 2e-6 for k in found)
    ]
    work = round(sum(seconds.values()))
    if f", {work:,} s of work" not in (out / "season.html").read_text():
        wrong.append("season.html")
    return wrong


@dataclass(frozen=True)
class Known:
    """A season with both of its results, and how long a run takes [s]."""

    season: Season
    earlier: dict[str, Files]
    later: dict[str, Files]
    seconds: float
    touches: int
    touches_of_field: int

    @property
    def kept(self) -> Path:
        """The earlier results, to be put back."""
        return self.season.folder / "kept"

    def put_back(self, bare: bool) -> None:
        """The earlier results, or none."""
        shutil.rmtree(self.season.out.parent, ignore_errors=True)
        if not bare:
            shutil.copytree(self.kept, self.season.out.parent)

    def states(self) -> tuple[dict[str, str], list[str]]:
        """Whose each field's results and the season's own files are, and what is half."""
        states, wrong = dict[str, str](), list[str]()
        for name, found in self.season.results().items():
            states[name] = state(found, self.earlier[name], self.later[name], parts=not name)
            if states[name] == "half":
                wrong.append(f"{name or 'the season'} is half: {sorted(set(found.items()) ^ set(self.earlier[name].items()))}")
        return states, wrong


def state(found: Files, earlier: Files, later: Files, parts: bool) -> str:
    """Whose results these are; a file of somebody's own aside."""
    found, earlier, later = ({name: what for name, what in files.items() if name != MINE} for files in (found, earlier, later))
    if found in ({}, earlier, later):
        return "none" if not found else "earlier" if found == earlier else "new"
    return "some, of one run" if parts and (found.items() <= earlier.items() or found.items() <= later.items()) else "half"
