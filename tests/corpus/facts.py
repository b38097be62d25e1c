"""field.toml, --config and --set."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from .cases import DONE, FACTS, WRONG_WAY, Case, field, spoilt, truncated

WHOLE = f'{FACTS}[[points]]\npath = "points.csv"\n[[counts]]\npath = "counts.csv"\n'


def cases() -> Iterator[Case]:
    """Text that is no TOML, keys and values that cannot be, and hostile text."""
    yield from _field_toml()
    yield from _values()
    yield from _config()
    yield from _set()


def _facts(name: str, ends: int, says: str, text: str | bytes | None, flow: str = "check") -> Case:
    return spoilt("field.toml", name, ends, says, flow, files={"field.toml": text} if text is not None else {"field.toml": WHOLE})


def _field_toml() -> Iterator[Case]:
    yield _facts("sound", DONE, "60 records", WHOLE)
    yield _facts("UTF-8 with its mark", DONE, "60 records", b"\xef\xbb\xbf" + WHOLE.encode())
    yield _facts("CRLF", DONE, "60 records", WHOLE.replace("\n", "\r\n"))
    yield _facts("CR alone", WRONG_WAY, "is not TOML", WHOLE.replace("\n", "\r"))
    yield _facts("UTF-16", WRONG_WAY, "is not UTF-8 text", WHOLE.encode("utf-16"))
    yield _facts("Latin-1", WRONG_WAY, "is not UTF-8 text", WHOLE.replace("Made", "Pr\xe9").encode("latin-1"))
    yield _facts("NULs", WRONG_WAY, "is not TOML", WHOLE.encode() + bytes(20))
    yield _facts("empty", WRONG_WAY, "name: is missing; add it", "")
    for name, content in truncated(WHOLE.encode(), 0.03, 0.1, 0.3, 0.5, 0.62, 0.9).items():
        yield _facts(name, WRONG_WAY, "is not TOML", content)
    yield _facts("JSON", WRONG_WAY, "is not TOML", '{"name": "Made"}')
    yield _facts("YAML", WRONG_WAY, "is not TOML", "name: Made\ncrop: corn\n")
    yield _facts("a picture", WRONG_WAY, "is not UTF-8 text", b"\x89PNG\r\n\x1a\n" + bytes(100))
    yield _facts("ten thousand brackets", WRONG_WAY, "nested too deeply", "a = " + "[" * 10_000)
    yield _facts("ten thousand tables in tables", WRONG_WAY, "nested too deeply", "a = " + "{b=" * 10_000)
    yield _facts("a key of a thousand parts", WRONG_WAY, "a: no such key", ".".join(["a"] * 1_000) + " = 1\n" + WHOLE)
    yield _facts("a number of ten thousand digits", WRONG_WAY, "is not TOML", "rng_seed = " + "9" * 10_000 + "\n" + WHOLE)
    yield _facts("a name twice", WRONG_WAY, "each key and table stands once", 'name = "a"\n' + WHOLE)
    yield _facts("a text of a megabyte", DONE, "60 records", WHOLE.replace("Made creek", "x" * 1_000_000))
    yield _facts("larger than such a file is", WRONG_WAY, "is larger than 10 MB", WHOLE + "#" * 11_000_000)


def _values() -> Iterator[Case]:
    def one(name: str, says: str, old: str, new: str, ends: int = WRONG_WAY) -> Case:
        assert old in WHOLE
        return _facts(name, ends, says, WHOLE.replace(old, new, 1))

    yield one("a misspelt key", "no such key; did you mean header_width?", "header_width", "header_widht")
    yield one("a key in capitals", "no such key", "header_width", "Header_width")
    yield one("no crop", "crop: is missing", 'crop = "corn"\n', "")
    yield one("an unknown crop", "is not in the crop table", '"corn"', '"corm"')
    for width in (
        "30",
        '"30"',
        '"30 acres"',
        '"-30 ft"',
        '"0 ft"',
        '"1e9 ft"',
        '"1e999 ft"',
        '"nan ft"',
        "nan",
        "inf",
        "true",
        "[]",
        "{}",
        "2025-10-18",
        '""',
        '"ft"',
        '"30 ft; rm -rf /"',
        '"30 __import__"',
        '"30 ft**99"',
    ):
        yield one(f"a width of {width}", "header_width", '"30 ft"', width)
    for name in ("1", "true", "[]", "{a = 1}", "nan", "2025-10-18"):
        yield one(f"a name of {name}", "name: must be", '"Made creek"', name)
    for day in ('"tomorrow"', "2025-02-30", "99", "2025-10-18T10:00:00Z", "0001-01-01T00:00:01"):
        yield one(
            f"harvested on {day}",
            "is not TOML" if day == "2025-02-30" else "harvested_on",
            'crop = "corn"',
            f'crop = "corn"\nharvested_on = {day}',
        )
    for name in ('""', '" "', '"\\t\\n"'):
        yield one(f"a blank name {name}", "name: is blank", '"Made creek"', name)
    yield one("frames that are true", "frames: must be a whole number (is true)", '"counts.csv"', '"counts.csv"\nframes = true')
    yield one("a frame of nothing", "must be more than 0, up to 1,000 m2", '"counts.csv"', '"counts.csv"\nframe = "0 m2"')
    yield one("harvested in the year 9999", "is no day of a harvest", 'crop = "corn"', 'crop = "corn"\nharvested_on = 9999-12-31')
    yield one("a seed of a tonne", "thousand_seed_mass", 'crop = "corn"', 'crop = "corn"\nthousand_seed_mass = "1 t"')
    yield one("points that are no table", "must be a list", "[[points]]", "points = 5\n[other]")
    yield one("one table for points", "points: must be a list", "[[points]]", "[points]")
    yield one("points within points", "points: must be a list", "[[points]]", "[[points.points]]")
    yield one("an unknown role", "is no role; the roles are", '"points.csv"', '"points.csv"\ncolumns = { spede = "x" }')
    yield one("a role that is no column", "columns", '"points.csv"', '"points.csv"\ncolumns = { speed = 5 }')
    yield one(
        "an unknown unit",
        "is not a unit lossmap knows",
        '"points.csv"',
        '"points.csv"\ncolumns = { speed = { column = "Speed (mph)", unit = "parsec" } }',
        3,
    )
    yield one("an interval of zero", "interval", '"points.csv"', '"points.csv"\ninterval = "0 s"')
    yield one("ten thousand logs", "no such file", '[[points]]\npath = "points.csv"', '[[points]]\npath = "other.csv"\n' * 10_000, 3)
    for name, text in {
        "script": "<script>alert(1)</script>",
        "template": "{{7*7}}{%for%}",
        "formula": "=cmd|' /C calc'!A0",
        "terminal": "\\u001b[31m\\u0007",
        "newlines": "a\\nlossmap: all is well\\n",
        "directions": "\\u202egnirts",
    }.items():
        changed = WHOLE.replace("Made creek", text).replace('crop = "corn"', f'crop = "corn"\noperator = "{text}"\nheader = "{text}"')
        yield _facts(f"{name} for names, mapped", DONE, "loss", changed, "map")
        yield _facts(f"{name} for a crop", WRONG_WAY, "is not in the crop table", WHOLE.replace('"corn"', f'"{text}"'))


def _config() -> Iterator[Case]:
    def one(name: str, ends: int, says: str, text: str | bytes) -> Case:
        def write(folder: Path) -> list[str]:
            field(folder)
            (folder / "run.toml").write_bytes(text if isinstance(text, bytes) else text.encode())
            return ["--config", str(folder / "run.toml")]

        return Case("--config", name, write, ends, says, "map")

    yield one("sound", DONE, "loss", '[grid]\ncell = "10 m"\n')
    yield one("empty", DONE, "loss", "")
    yield one("of an earlier run", DONE, "loss", 'lossmap = "0.1.0"\n[settings.grid]\ncell = "10 m"\n[inputs_sha256]\n"a.csv" = "0"\n')
    yield one("a table twice", WRONG_WAY, "each key and table stands once", "[grid]\n[grid]\n")
    yield one("UTF-16", WRONG_WAY, "is not UTF-8 text", "[grid]\n".encode("utf-16"))
    yield one("a list for a table", WRONG_WAY, "grid: must be a table of settings", "grid = [1]\n")
    yield one("an unknown table", WRONG_WAY, "no such key", "[gird]\ncell = 1\n")
    yield one("an unknown table in capitals", WRONG_WAY, "Grid: no such key", "[Grid]\ncell = 1\n")
    yield one("a farm's settings", WRONG_WAY, "no such key", '[search]\nslot = "1 h"\n')
    yield one("several faults at once", WRONG_WAY, "run.toml: clean", '[grid]\ncell = "900 m"\n[clean]\nleast_width = "x"\n')
    yield one("tiles from a script", WRONG_WAY, "tiles", '[report]\ntiles = "javascript:alert(1)"\n')
    yield one("tiles that end the text", WRONG_WAY, "tiles", '[report]\ntiles = "https://x/{z}/{x}/{y}\'</script>"\n')
    yield one("nested without end", WRONG_WAY, "nested too deeply", "x = " + "[" * 50_000)
    for seed in ("-1", "4294967296", "1.5", '"one"', "nan"):
        yield one(f"rng_seed = {seed}", WRONG_WAY, "rng_seed", f"rng_seed = {seed}\n")


def _set() -> Iterator[Case]:
    def one(assignment: str, ends: int, says: str) -> Case:
        def write(folder: Path) -> list[str]:
            field(folder)
            return ["--set", assignment]

        return Case("--set", assignment[:40] or "nothing", write, ends, says, "map")

    yield one('grid.cell="10 m"', DONE, "loss")
    for text in ("", "=", "=5", "grid.cell", " = "):
        yield one(text, WRONG_WAY, "is not KEY=VALUE")
    for text, says in {
        "grid.cell=5": "is not a number with a unit",
        "grid.cell=": "is not a number with a unit",
        'grid.cell="5 m" x': "is not a number with a unit",
        "grid.cell=[[[": "is not a number with a unit",
        "grid.cell.deeper=5": "is not a number with a unit",
        "grid..cell=5": "no such key; known: cell",
        ".=5": "no such key",
        "Grid.cell=5": "no such key; did you mean grid?",
        "__class__=5": "no such key",
        "grid=5": "must be a table of settings",
        "rng_seed=" + "9" * 5_000: "rng_seed",
        "report.units=martian": "must be 'us' or 'metric'",
        'report.price="-4 USD/bu"': "price",
        'report.price="1e999 USD/bu"': "price",
        'report.price="4 EUR/bu"': "price",
        'report.price="4 USD/ft"': "price",
        "report.price={{7*7}}": "price",
        "report.hour_value=nan": "hour_value",
        "zones.tracks_chance=nan": "tracks_chance",
        "zones.tracks_chance=inf": "tracks_chance",
        "surfaces.least_stops=1e99": "least_stops",
        'clean.jump_speed="6 m/s\x00"': "is not a number with a unit",
        "a" * 10_000 + "=1": "no such key",
    }.items():
        yield one(text, WRONG_WAY, says)
