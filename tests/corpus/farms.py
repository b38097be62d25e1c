"""farm.toml, readings, weather of a table and of a station's file, and the day of a plan."""

from __future__ import annotations

import functools
import tempfile
from collections.abc import Iterator
from pathlib import Path

from lossmap.synthetic_farm import FarmPlan, made_farm, write_farm

from .cases import DONE, WRONG_DATA, WRONG_WAY, Case, truncated

QUICK = ["--set", "doubt.seasons=20", "--set", "search.rounds=0", "--set", 'search.slot="1 h"']
DAY = "2025-09-25"


@functools.cache
def sound() -> dict[str, str]:
    """The files of a made farm of two fields."""
    with tempfile.TemporaryDirectory() as folder:
        write_farm(made_farm(FarmPlan(fields=2, years=6), 2), Path(folder) / "creek", FarmPlan().on)
        return {path.name: path.read_text(encoding="utf-8") for path in (Path(folder) / "creek").iterdir()}


def _case(kind: str, name: str, ends: int, says: str, *, on: str = DAY, words: tuple[str, ...] = (), **changed: str | bytes | None) -> Case:
    """Files of the sound farm replaced: facts, readings, weather, history."""

    def write(folder: Path) -> list[str]:
        place = folder / "creek"
        place.mkdir()
        files: dict[str, str | bytes | None] = dict(sound())
        names = {"facts": "farm.toml"}
        files |= {names.get(part, f"{part}.csv"): content for part, content in changed.items()}
        for file, content in files.items():
            if content is not None:
                (place / file).write_bytes(content if isinstance(content, bytes) else content.encode())
        return ["--on", on, *QUICK, *words]

    return Case(kind, name, write, ends, says, "rank")


def cases() -> Iterator[Case]:
    """Each file damaged, odd or hostile."""
    yield from _facts()
    yield from _days()
    yield from _readings()
    yield from _weather()
    yield from _station()


def _facts() -> Iterator[Case]:
    facts = sound()["farm.toml"]

    def one(name: str, ends: int, says: str, old: str, new: str) -> Case:
        assert old in facts, old
        return _case("farm.toml", name, ends, says, facts=facts.replace(old, new, 1))

    yield _case("farm.toml", "sound", DONE, "go to Long hill")
    yield _case("farm.toml", "empty", WRONG_WAY, "name: is missing", facts="")
    yield _case("farm.toml", "UTF-16", WRONG_WAY, "is not UTF-8 text", facts=facts.encode("utf-16"))
    for name, content in truncated(facts.encode(), 0.05, 0.2, 0.4, 0.55).items():
        yield _case("farm.toml", name, WRONG_WAY, "is not TOML", facts=content)
    first = facts[facts.index("[[field]]") :].split("\n\n")[0]
    area = next(line for line in first.splitlines() if line.startswith("area"))
    grain = next(line for line in first.splitlines() if line.startswith("expected_yield"))
    place = next(line for line in first.splitlines() if line.startswith("location"))
    title = next(line for line in first.splitlines() if line.startswith("name"))
    matured = next((line for line in first.splitlines() if line.startswith("matured_on")), area)
    for value in ('"0 ac"', '"-5 ac"', '"1e99 ac"', '"1e999 ac"', "71", '"71 bu"', "nan"):
        yield one(f"an area of {value}", WRONG_WAY, "area", area, f"area = {value}")
    for value in ('"0 bu/ac"', '"-5 bu/ac"', '"1e9 bu/ac"', '"1e999 bu/ac"', '"54"', '"54 mph"', '"nan bu/ac"'):
        yield one(f"a yield of {value}", WRONG_WAY, "expected_yield", grain, f"expected_yield = {value}")
    for value in ("[42.3, -93.3, 1]", "[1]", "[999, 0]", "[0, 91]", "[nan, nan]", "[inf, 0]", '["a", "b"]', '"here"'):
        yield one(f"a place of {value}", WRONG_WAY, "location", place, f"location = {value}")
    yield one("a place at the pole", DONE, "go to Long hill", place, "location = [0.0, 90.0]")
    for day in ("0001-01-01", "9999-12-31", "1500-06-01"):
        yield one(f"mature on {day}", WRONG_WAY, "matured_on", matured, f"{area if matured == area else ''}\nmatured_on = {day}")
    for value in ('"4.20"', '"-4 USD/bu"', '"0 USD/bu"', '"1e999 USD/bu"', '"4 EUR/bu"', "4.2", '"nan USD/bu"'):
        yield one(f"a price of {value}", WRONG_WAY, "money", 'price = "4.20 USD/bu"', f"price = {value}")
    yield one("a machine that never stops", WRONG_WAY, "hours_per_day", 'hours_per_day = "10 h"', 'hours_per_day = "25 h"')
    yield one(
        "a machine that stands", WRONG_WAY, "rate", next(line for line in facts.splitlines() if line.startswith("rate")), 'rate = "0 ac/h"'
    )
    yield one("no machine", WRONG_WAY, "combine", "[[combine]]", "[[kombine]]")
    crop = next(line for line in first.splitlines() if line.startswith("crop"))
    yield one("a crop nobody knows the drying of", WRONG_WAY, "no source says how wheat dries", crop, 'crop = "wheat"')
    yield one("two fields of one name", WRONG_WAY, "are called", facts[facts.rindex("name = ") :].splitlines()[0], title)
    old = title.partition('"')[2].rstrip('"')
    for name, text in {
        "a script": "<script>alert(1)</script>",
        "a formula": "=cmd|' /C calc'!A0",
        "a template": "{{7*7}}{% raw %}",
    }.items():
        files = {"facts": facts.replace(title, f'name = "{text}"', 1), "readings": sound()["readings.csv"].replace(old, text)}
        yield _case("farm.toml", f"{name} for a name", DONE, "go to Long hill", **files)
    yield one("a name of a thousand letters", WRONG_WAY, "name", title, f'name = "{"x" * 1_000}"')
    yield one(
        "weather out of the folder", WRONG_WAY, "lies outside the farm's folder", 'weather = "weather.csv"', 'weather = "../weather.csv"'
    )
    yield one("weather that is not there", WRONG_DATA, "no such file", 'weather = "weather.csv"', 'weather = "wether.csv"')
    yield one("a map that is none", WRONG_DATA, "no such file", area, f'{area}\nmap = "out/creek"')
    yield one("a map out of the folder", WRONG_WAY, "lies outside the farm's folder", area, f'{area}\nmap = "../../etc"')
    yield one("an outline that is none", WRONG_DATA, "no such file", area, f'{area}\nboundary = "edge.geojson"')
    yield one("a dryer of nothing", WRONG_WAY, "dryer", "weather =", 'dryer = "0 bu/d"\nweather =')
    yield one("a dryer of less than nothing", WRONG_WAY, "dryer", "weather =", 'dryer = "-5 bu/d"\nweather =')
    yield one("a dryer slower than any field", WRONG_DATA, "cannot be cut and dried within", "weather =", 'dryer = "1 bu/d"\nweather =')
    yield one("a dryer slower than the season", WRONG_DATA, "cannot be cut and dried within", "weather =", 'dryer = "400 bu/d"\nweather =')
    yield one("a dryer without a unit", WRONG_WAY, "dryer", "weather =", 'dryer = "2000"\nweather =')


def _days() -> Iterator[Case]:
    for day in ("0001-01-01", "9999-12-31", "1900-02-28", "2400-01-01"):
        yield _case("rank --on", day, WRONG_WAY, "is not a day", on=day)
    for day in ("2025-02-30", "tomorrow", "25.9.2025", "", "2025-9-1", "20250925T000000"):
        yield _case("rank --on", day or "nothing", WRONG_WAY, "is not a day", on=day)


def _readings() -> Iterator[Case]:
    whole = sound()["readings.csv"]
    kind = "readings"
    rows = whole.splitlines()
    name = rows[1].split(",")[0]
    yield _case(kind, "UTF-8 with its mark", DONE, "go to Long hill", readings=b"\xef\xbb\xbf" + whole.encode())
    yield _case(kind, "UTF-16", DONE, "go to Long hill", readings=whole.encode("utf-16"))
    yield _case(kind, "CRLF", DONE, "go to Long hill", readings=whole.replace("\n", "\r\n"))
    yield _case(kind, "semicolons and decimal commas", DONE, "go to Long hill", readings=whole.replace(",", ";").replace(".", ","))
    yield _case(kind, "empty", WRONG_DATA, "is empty", readings="")
    yield _case(kind, "a header alone", WRONG_DATA, "no record", readings=rows[0] + "\n")
    yield _case(kind, "NULs", WRONG_DATA, "is not a text table", readings=whole.encode() + bytes(9))
    yield _case(
        kind,
        "two columns of one name but for the letter case",
        WRONG_DATA,
        "two columns are called date",
        readings="field,date,DATE\na,b,c\n",
    )
    yield _case(kind, "a date that is blank in every row", WRONG_DATA, "is not a day", readings=f"field,date,moisture_pct\n{name},,20\n")
    yield _case(kind, "no column field", WRONG_DATA, "has no column field", readings=whole.replace("field", "place", 1))
    for day in ("", "2025-02-30", "18.9.2025", "soon", "0000-00-00", "=TODAY()"):
        yield _case(kind, f"date {day or 'blank'}", WRONG_DATA, "is not a day", readings=f"{rows[0]}\n{name},{day},20,\n")
    for day in ("0001-01-01", "9999-12-31", "1600-01-01"):
        yield _case(kind, f"date {day}", WRONG_DATA, "is no day of a harvest", readings=f"{whole}{name},{day},20,\n")
    for value, says in {
        "4": "is outside 5 to 60",
        "99": "is outside 5 to 60",
        "-20": "is outside",
        "wet": "is not a number",
        "inf": "is no number",
        "1e999": "is no number",
        "20 %": "is not a number",
        "=1+1": "is not a number",
    }.items():
        yield _case(kind, f"moisture {value}", WRONG_DATA, says, readings=f"{whole}{name},2025-09-24,{value},\n")
    yield _case(kind, "a field nobody knows", WRONG_DATA, "no field is called", readings=f"{whole}Nowhere,2025-09-24,20,\n")
    yield _case(kind, "a field without a name", WRONG_DATA, "no field is called", readings=f"{whole},2025-09-24,20,\n")
    yield _case(
        kind, "a script for a field", WRONG_DATA, "no field is called", readings=f"{whole}<script>alert(1)</script>,2025-09-24,20,\n"
    )
    yield _case(kind, "the same day twice", DONE, "go to", readings=f"{whole}{name},2025-09-24,20,\n{name},2025-09-24,19,\n")
    yield _case(
        kind,
        "all fields cut",
        WRONG_DATA,
        "every field is cut",
        readings="".join(
            [f"{rows[0]}\n", *(f"{field},2025-09-20,18,yes\n" for field in dict.fromkeys(row.split(",")[0] for row in rows[1:]))]
        ),
    )
    yield _case(kind, "a row too long", WRONG_DATA, "values, the header", readings=f"{whole}{name},2025-09-24,20,,,,\n")


def _weather() -> Iterator[Case]:
    whole = sound()["weather.csv"]
    kind = "weather"
    rows = whole.splitlines()
    last = rows[-1].split(",")

    def changed(column: int, value: str) -> str:
        return "\n".join([*rows[:-1], ",".join([*last[:column], value, *last[column + 1 :]])]) + "\n"

    yield _case(kind, "UTF-8 with its mark", DONE, "go to Long hill", weather=b"\xef\xbb\xbf" + whole.encode())
    yield _case(kind, "UTF-16", DONE, "go to Long hill", weather=whole.encode("utf-16"))
    yield _case(kind, "semicolons and decimal commas", DONE, "go to Long hill", weather=whole.replace(",", ";").replace(".", ","))
    yield _case(kind, "rows in any order", DONE, "go to Long hill", weather="\n".join([rows[0], *rows[:0:-1]]) + "\n")
    yield _case(kind, "empty", WRONG_DATA, "is empty (0 bytes)", weather="")
    yield _case(kind, "a header alone", WRONG_DATA, "no record", weather=rows[0] + "\n")
    yield _case(kind, "NULs", WRONG_DATA, "is not a text table", weather=whole.encode() + bytes(9))
    yield _case(kind, "no header", WRONG_DATA, "has no column date", weather="\n".join(rows[1:]))
    yield _case(kind, "a day twice", WRONG_DATA, "stands twice; delete one", weather=whole + rows[-1] + "\n")
    for day in ("2025-02-30", "yesterday", "1/2/2025", "", "0001-01-01", "9999-12-31", "=TODAY()"):
        yield _case(kind, f"date {day or 'blank'}", WRONG_DATA, "is not a day", weather=changed(0, day))
    for value in ("hot", "1e999", "inf", "-1e13", "21 C", "=1+1"):
        yield _case(kind, f"tmax {value}", WRONG_DATA, "tmax", weather=changed(2, value))
    yield _case(kind, "tmax 900", WRONG_DATA, "tmax_c must lie between -60 and 60 C", weather=changed(2, "900"))
    yield _case(kind, "tmax -200", WRONG_DATA, "tmax -200.0 C; correct the day", weather=changed(2, "-200"))
    yield _case(kind, "tmin above tmax", WRONG_DATA, "tmin", weather=changed(1, "50"))
    yield _case(kind, "Celsius called Fahrenheit", WRONG_DATA, "the columns look exchanged", weather=whole.replace("tmax_c", "tmax_f"))
    yield _case(kind, "no unit", WRONG_DATA, "tmax says no unit", weather=whole.replace("tmax_c", "tmax"))
    yield _case(kind, "no rain", WRONG_DATA, "rain", weather=whole.replace("rain_mm", "snow"))
    yield _case(
        kind,
        "two columns of one meaning",
        WRONG_DATA,
        "keep one",
        weather=whole.replace("rh_pct", "max_temperature_c") if "rh_pct" in whole else whole.replace("tmin_c", "max_temperature_c"),
    )
    yield _case(kind, "no past years", WRONG_DATA, "0 past years hold the days", history="\n".join(rows) + "\n")
    yield _case(
        kind,
        "past years cut off",
        WRONG_DATA,
        "0 past years hold the days",
        history=sound()["history.csv"][: len(sound()["history.csv"]) // 20],
    )
    yield _case(
        kind, "past years of another format", WRONG_DATA, "history.csv: is not a text table", history=b"\x89PNG\r\n\x1a\n" + bytes(100)
    )
    yield _case(kind, "a row too long", WRONG_DATA, "values, the header", weather=whole + rows[-1] + ",,,,,\n")


def _station() -> Iterator[Case]:
    kind = "weather, GHCN-Daily"
    days = [f"202509{day:02d}" for day in range(1, 29)]

    def long(*extra: str, mark: str = "", station: str = "USC00130001") -> str:
        rows = [
            f"{station},{day},{name},{value},,{mark},7,0700" for day in days for name, value in (("TMAX", 220), ("TMIN", 90), ("PRCP", 3))
        ]
        return "\n".join([*rows, *extra]) + "\n"

    yield _case(kind, "sound, a row an element", DONE, "go to Long hill", weather=long())
    yield _case(kind, "every value failed its check", WRONG_DATA, "the station does not measure it", weather=long(mark="X"))
    yield _case(kind, "two stations", WRONG_DATA, "holds 2 stations", weather=long("USC00130002,20250901,TMAX,220,,,7,0700"))
    yield _case(kind, "an element twice", WRONG_DATA, "stands twice; delete one", weather=long("USC00130001,20250901,TMAX,220,,,7,0700"))
    yield _case(kind, "no rain", WRONG_DATA, "the station does not measure it", weather=long().replace("PRCP", "SNOW"))
    yield _case(kind, "a value of text", WRONG_DATA, "is not a number", weather=long("USC00130001,20250929,TMAX,warm,,,7,0700"))
    yield _case(kind, "a value without end", WRONG_DATA, "is no number", weather=long("USC00130001,20250929,TMAX,1e999,,,7,0700"))
    yield _case(kind, "a day that is none", WRONG_DATA, "is not a day", weather=long("USC00130001,20250231,TMAX,220,,,7,0700"))
    yield _case(kind, "a day of the year 9999", WRONG_DATA, "is not a day", weather=long("USC00130001,99991231,TMAX,220,,,7,0700"))
    yield _case(kind, "a row cut off", WRONG_DATA, "row 85: date", weather=long() + "USC00130001,2025")
    yield _case(
        kind, "a row with more than eight values", DONE, "go to Long hill", weather=long("USC00130001,20250929,TMAX,220,,,7,0700,a,b,c")
    )
    wide = '"STATION","DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES","PRCP","PRCP_ATTRIBUTES"\n'
    rows = "".join(f'"USC00130001","2025-09-{day:02d}","  220",",,7","   90",",,7","    3",",,7"\n' for day in range(1, 29))
    yield _case(kind, "sound, a row a day", DONE, "go to Long hill", weather=wide + rows)
    for name in ("DATE", "TMIN"):
        again = wide.replace("PRCP_ATTRIBUTES", name.title())
        yield _case(kind, f"{name} twice, but for the letter case", WRONG_DATA, "two columns are called", weather=again + rows)
    yield _case(
        kind, "a day of the year 9999, a row a day", WRONG_DATA, "is not a day", weather=wide + rows.replace("2025-09-28", "9999-12-31")
    )
    yield _case(
        kind,
        "no temperature known, a row a day: past years stand for it",
        DONE,
        "go to Long hill",
        weather=wide + rows.replace("  220", "-9999"),
    )
