"""Where files lie and what they are called: paths that lead out, links, pipes, names, places for results."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

from .cases import DONE, FACTS, LOG, WRONG_DATA, WRONG_WAY, Case, field

KIND = "paths and names"


def cases() -> Iterator[Case]:
    """Paths in field.toml, what they lead to, the field's folder, the folder of results."""
    yield from _named()
    yield from _led_to()
    yield from _folders()
    yield from _results()


def _named() -> Iterator[Case]:
    def one(name: str, path: str, ends: int, says: str) -> Case:
        def write(folder: Path) -> None:
            field(folder)
            text = f"{FACTS}[[points]]\npath = '{path}'\n[[counts]]\npath = 'counts.csv'\n"
            (folder / "creek" / "field.toml").write_text(text.replace("'", '"') if "\\u" in path else text)

        return Case(KIND, name, write, ends, says, "map")

    for name, path in {
        "up": "../secret.csv",
        "up and back": "../creek/../secret.csv",
        "from the root": "/etc/passwd",
        "of a device": "/dev/zero",
        "to an archive in memory": "/vsizip/x.zip/points.shp",
        "to the net by GDAL": "/vsicurl/http://127.0.0.1:9/x.csv",
    }.items():
        yield one(f"a path {name}", path, WRONG_WAY, "lies outside the field's folder")
    for name, path in {
        "of the net": "https://127.0.0.1:9/points.csv",
        "with backslashes": r"..\secret.csv",
        "of a home": "~/points.csv",
        "with a variable": "$HOME/points.csv",
        "with a wildcard": "*.csv",
        "that is empty but for spaces": "  ",
        "of five thousand letters": "x" * 5_000,
    }.items():
        yield one(f"a path {name}", path, WRONG_DATA, "no such file")
    yield one("a path with a null sign", "points\\u0000.csv", WRONG_WAY, "is no name of a file")
    yield one("a path of the folder itself", ".", WRONG_DATA, "found a folder without TASKDATA.XML")
    yield one("an empty path", "", WRONG_DATA, "found a folder without TASKDATA.XML")
    yield one("a path by way of itself", "../creek/points.csv", DONE, "loss")


def _led_to() -> Iterator[Case]:
    def one(name: str, make: Callable[[Path, Path], None], ends: int, says: str, path: str = "points.csv") -> Case:
        def write(folder: Path) -> None:
            field(folder, log=None, path=path)
            make(folder / "creek" / path, folder)

        return Case(KIND, name, write, ends, says, "map")

    def link(to: str) -> Callable[[Path, Path], None]:
        return lambda place, folder: place.symlink_to(to.format(folder=folder))

    def secret(place: Path, folder: Path) -> None:
        (folder / "secret.csv").write_text(LOG)
        place.symlink_to(folder / "secret.csv")

    def inside(place: Path, folder: Path) -> None:
        (place.parent / "real.csv").write_text(LOG)
        place.symlink_to("real.csv")

    def around(place: Path, folder: Path) -> None:
        place.symlink_to(place.with_name("b.csv"))
        place.with_name("b.csv").symlink_to(place)

    yield one("a link out of the folder", secret, WRONG_WAY, "lies outside the field's folder")
    yield one("a link to a device", link("/dev/zero"), WRONG_WAY, "lies outside the field's folder")
    yield one("a link within the folder", inside, DONE, "loss")
    yield one("a link to nothing", link("nowhere.csv"), WRONG_DATA, "no such file")
    yield one("links to one another", around, WRONG_WAY, "is no name of a file")
    for path in ("points.csv", "points.gpkg", "points.geojson", "points.parquet", "points.zip"):
        yield one(f"a pipe called {path}", lambda place, folder: os.mkfifo(place), WRONG_DATA, "is a pipe or device, not a file", path)
        yield one(f"a folder called {path}", lambda place, folder: place.mkdir(), WRONG_DATA, "found a folder without TASKDATA.XML", path)

    def counts_pipe(folder: Path) -> None:
        field(folder, counts=None)
        os.mkfifo(folder / "creek" / "counts.csv")

    yield Case(KIND, "a pipe for counts", counts_pipe, WRONG_DATA, "is a pipe or device, not a file", "map")


def _folders() -> Iterator[Case]:
    def renamed(name: str, called: str | bytes, ends: int, says: str) -> Case:
        def write(folder: Path) -> list[str]:
            field(folder)
            to = os.fsencode(folder) + b"/" + (called if isinstance(called, bytes) else called.encode())
            (folder / "creek").rename(os.fsdecode(to))
            return ["FIELD", os.fsdecode(to)]

        return Case(KIND, name, write, ends, says, "map")

    yield renamed("a folder called in another alphabet", "\u043f\u043e\u043b\u0435 \u2116 5", DONE, "loss")
    yield renamed("a folder called with spaces and signs", " a 'b' \"c\" & <d> %s {{7}} #[0] ", DONE, "loss")
    yield renamed("a folder called as an option", "--help", DONE, "loss")
    yield renamed("a folder called in the letters of another system", b"cr\xe9ek", WRONG_WAY, "has no name that results could be called by")
    yield renamed("a folder called with a line end", "cr\neek", WRONG_WAY, "has no name that results could be called by")
    yield renamed("a folder called with signs of a terminal", "\x1b[31mcreek", WRONG_WAY, "has no name that results could be called by")
    yield renamed("a folder called with two hundred and fifty letters", "x" * 250, WRONG_WAY, "File name too long")

    def asked(name: str, words: Callable[[Path], list[str]], ends: int, says: str) -> Case:
        def write(folder: Path) -> list[str]:
            field(folder)
            return ["FIELD", *words(folder)]

        return Case(KIND, name, write, ends, says, "map")

    yield asked("a field that is not there", lambda folder: [str(folder / "brook")], WRONG_WAY, "no such folder")
    yield asked("a field that is a log", lambda folder: [str(folder / "creek" / "points.csv")], WRONG_WAY, "is not a field.toml")
    yield asked("a field by its field.toml", lambda folder: [str(folder / "creek" / "field.toml")], DONE, "loss")
    yield asked("a field of five thousand letters", lambda folder: ["x" * 5_000], WRONG_WAY, "cannot be looked at")
    yield asked("the root for a field", lambda folder: ["/"], WRONG_WAY, "has no name that results could be called by")
    yield asked("a device for a field", lambda folder: ["/dev/null"], WRONG_WAY, "holds no field.toml")

    def link_loop(folder: Path) -> list[str]:
        (folder / "a").symlink_to(folder / "b")
        (folder / "b").symlink_to(folder / "a")
        return [str(folder / "a")]

    yield asked("links to one another for a field", link_loop, WRONG_WAY, "is no name of a folder")


def _results() -> Iterator[Case]:
    def one(name: str, out: Callable[[Path], str], ends: int, says: str) -> Case:
        def write(folder: Path) -> list[str]:
            field(folder)
            return ["--out", out(folder)]

        return Case(KIND, name, write, ends, says, "map")

    def taken(folder: Path) -> str:
        (folder / "taken").write_text("mine")
        return str(folder / "taken")

    def taken_below(folder: Path) -> str:
        (folder / "more").mkdir()
        (folder / "more" / "creek").write_text("mine")
        return str(folder / "more")

    yield one("results where a file is", taken, WRONG_WAY, "cannot be written to")
    yield one("results under a file's name", taken_below, WRONG_WAY, "is a file, and the results need a folder")
    yield one("results in the field's own place", str, WRONG_WAY, "is the field's own folder")
    yield one("results in the system's own place", lambda folder: "/proc/1", WRONG_WAY, "cannot be written to")
    yield one("results under a device", lambda folder: "/dev/null/x", WRONG_WAY, "cannot be written to")
    yield one("results under five thousand letters", lambda folder: str(folder / ("x" * 5_000)), WRONG_WAY, "File name too long")
    yield one("results within the field's folder", lambda folder: str(folder / "creek" / "results"), DONE, "loss")
