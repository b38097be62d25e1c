"""Points as CSV."""

from __future__ import annotations

from collections.abc import Iterator

from .cases import COUNTS, DONE, HEAD, LOG, WRONG_DATA, Case, log_rows, spoilt, truncated

KIND = "points, CSV"
ROWS = log_rows()


def cases() -> Iterator[Case]:
    """Encodings, separators, numbers, clocks, places, and files that are none."""
    yield from _encodings()
    yield from _cuts()
    yield from _numbers()
    yield from _clocks()
    yield from _places()
    yield from _strangers()
    yield from _hostile()


def _case(name: str, ends: int, says: str, log: str | bytes, flow: str = "check", keys: str = "") -> Case:
    return spoilt(KIND, name, ends, says, flow, log=log, keys=keys)


def _with(row: int, old: str, new: str) -> str:
    """The sound log with one row changed (0 is the first record)."""
    rows = list(ROWS)
    assert old in rows[row]
    rows[row] = rows[row].replace(old, new, 1)
    return "\n".join([HEAD, *rows]) + "\n"


def _encodings() -> Iterator[Case]:
    read = "60 records"
    yield _case("sound", DONE, read, LOG)
    yield _case("UTF-8 with its mark", DONE, read, b"\xef\xbb\xbf" + LOG.encode())
    for name in ("utf-16-le", "utf-16-be"):
        mark = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}[name]
        yield _case(f"{name} with its mark", DONE, read, mark + LOG.encode(name))
        yield _case(f"{name} without its mark", WRONG_DATA, "is not a text table", LOG.encode(name))
    yield _case("UTF-16 cut in the middle of a sign", WRONG_DATA, "is not a text table", b"\xff\xfe" + LOG.encode("utf-16-le")[:-1])
    yield _case("Latin-1 degree sign in a header", DONE, read, LOG.replace("Moisture (%)", "Moisture (%) \xe9").encode("latin-1"))
    yield _case("UTF-32", WRONG_DATA, "is not a text table", LOG.encode("utf-32"))
    yield _case("a NUL in the middle", WRONG_DATA, "is not a text table", LOG[:900].encode() + b"\0" + LOG[900:].encode())
    yield _case("NULs alone", WRONG_DATA, "is not a text table", bytes(5000))
    yield _case("NULs behind the last row", WRONG_DATA, "is not a text table", LOG.encode() + bytes(512))
    yield _case("empty", WRONG_DATA, "is empty (0 bytes); export it again", "")
    yield _case("line ends alone", WRONG_DATA, "is empty; it should hold a header line", "\n\r\n\n")
    yield _case("the UTF-8 mark alone", WRONG_DATA, "is empty; it should hold a header line", b"\xef\xbb\xbf")
    yield _case("a header alone", WRONG_DATA, "holds a header line and no record", HEAD + "\n")
    yield _case(
        "records without a header", WRONG_DATA, "no column was understood as yield or mass flow (columns -93.60000", "\n".join(ROWS)
    )
    yield _case("numbers without a header", WRONG_DATA, "its first line holds numbers, not names", "1,2,3\n4,5,6\n")


def _cuts() -> Iterator[Case]:
    read = "60 records"
    for name, end in (("CRLF", "\r\n"), ("CR", "\r")):
        yield _case(f"{name} line ends", DONE, read, LOG.replace("\n", end))
    mixed = "".join(line + ("\r\n" if number % 2 else "\n") for number, line in enumerate(LOG.splitlines()))
    yield _case("mixed line ends", DONE, read, mixed)
    yield _case("blank lines between records", DONE, read, LOG.replace("\n", "\n\n"))
    for name, mark in (("semicolons", ";"), ("tabs", "\t"), ("bars", "|")):
        yield _case(name, DONE, read, LOG.replace(",", mark))
        yield _case(f"a spreadsheet's word of {name} above the header", DONE, read, f"sep={mark}\n" + LOG.replace(",", mark))
    german = LOG.replace(",", ";").replace(".", ",")
    yield _case("semicolons and decimal commas", DONE, "longitude,latitude"[:9], german)
    yield _case("tabs and decimal commas", DONE, read, LOG.replace(",", "\t").replace(".", ","))
    quoted = "\n".join([HEAD, *(",".join(f'"{value.replace(".", ",")}"' for value in row.split(",")) for row in ROWS)])
    yield _case("commas, and decimal commas in quotes", WRONG_DATA, 'longitude "-93,60000" is not a number (60 such rows)', quoted)
    yield _case(
        "commas, and decimal commas without quotes", WRONG_DATA, "values, the header 6 names", LOG.replace(".", ",").replace("=", "")
    )
    yield _case("a row too long", WRONG_DATA, "row 7 has 7 values, the header 6 names", _with(5, "17.5", "17.5,0"))
    yield _case("a row too short", DONE, read, _with(5, ",17.5,4.5,2025-10-18T14:00:05Z", ""))
    yield _case("the last row cut off", DONE, read, LOG[:-30])
    yield _case("a quote that is never closed", WRONG_DATA, "opens a quote that is never closed", _with(5, "17.5", '"17.5'))
    yield _case("a line end in quotes", WRONG_DATA, "is not a number", _with(5, "17.5", '"17\n.5"'))
    yield _case(
        "quotes around everything", DONE, read, "\n".join(",".join(f'"{value}"' for value in line.split(",")) for line in LOG.splitlines())
    )
    yield _case("spaces around everything", DONE, read, LOG.replace(",", " , "))
    yield _case("a comma too many at each end", DONE, read, LOG.replace("\n", ",\n"))
    yield _case("two columns of one name", DONE, read, "\n".join([HEAD + ",Speed (mph)", *(row + ",9" for row in ROWS)]))
    yield _case("columns without names", DONE, read, "\n".join([HEAD + ",,", *(row + ",a,b" for row in ROWS)]))
    yield _case("a line above the header", WRONG_DATA, "the header 1 name", "# made log\n" + LOG)
    yield _case("units in a second line", WRONG_DATA, "is not a number", LOG.replace("\n", "\ndeg,deg,lb/s,%,mph,\n", 1))
    yield _case("a sum in the last line", WRONG_DATA, "is not a number", LOG + "Total,,1920,,,\n")
    yield _case(
        "signs beyond the usual in a header", DONE, read, LOG.replace("longitude", "\U0001f33d longitude", 1).replace("\U0001f33d ", "", 1)
    )
    for name, content in truncated(LOG.encode(), 0.25, 0.5, 0.75, 0.99).items():
        yield _case(name, DONE, "records", content)
    yield _case("cut off in a time", WRONG_DATA, 'Time "2025-10-18T14:" is not a time lossmap reads', LOG[: LOG.rindex(":59Z") - 2])
    yield _case("a thousandth", WRONG_DATA, "no record", LOG.encode()[:40])


def _numbers() -> Iterator[Case]:
    read = "60 records"
    for word in ("nan", "NaN", ""):
        yield _case(f"a gap written {word!r}", DONE, read, _with(5, "17.5", word))
    for word in ("inf", "-inf", "Infinity", "1e999", "1e308", "-1e13"):
        yield _case(f"moisture {word}", WRONG_DATA, "row 7: Moisture (%)", _with(5, "17.5", word))
    for word in ("n/a", "#DIV/0!", "-", "17.5 %", "1,7.5", "0x1f", "1_000", "17.5.1", "--5", "\u0661\u0667", "1e", "TRUE"):
        ends = f'row 7: Moisture (%) "{word}" is not a number' if "," not in word else "row 7 has 7 values"
        yield _case(f"moisture {word}", WRONG_DATA, ends, _with(5, "17.5", word))
    yield _case("a word that is said to mean no value", DONE, read, _with(5, "17.5", "n/a"), keys='missing = ["n/a"]')
    yield _case("thousands in quotes", WRONG_DATA, '"1,030" is not a number', _with(5, ",30,", ',"1,030",'))
    yield _case("moisture of words alone", DONE, "not used: Moisture", "\n".join([HEAD, *(row.replace("17.5", "dry") for row in ROWS)]))
    yield _case(
        "no column of grain",
        WRONG_DATA,
        "no column was understood as yield or mass flow",
        LOG.replace("Mass flow (lb/s)", "colour", 1),
        "map",
    )
    dead = {"speed": ("Speed (mph)", "4.5,2025", "0,2025"), "moisture": ("Moisture (%)", ",17.5,", ",0,")}
    for name, (column, old, new) in dead.items():
        yield _case(f"a sensor of {name} that says 0 all through", DONE, f"{column} reads 0 in every record", LOG.replace(old, new))
        half = "\n".join([HEAD, *(row.replace(old, new) for row in ROWS[:30]), *ROWS[30:]])
        yield _case(f"a sensor of {name} that wakes up", DONE, read, half)
    yield _case("moisture as a share of one", WRONG_DATA, "which cannot be (expected 3 to 70)", LOG.replace("17.5", "0.175"))
    yield _case("speed in the wrong unit", WRONG_DATA, 'unit = "mph" would fit', LOG.replace("Speed (mph)", "Speed (km/h)"))
    yield _case("speed without a unit", DONE, "unit by", LOG.replace("Speed (mph)", "Speed"))
    yield _case("an unknown unit", DONE, read, LOG.replace("Speed (mph)", "Speed (furlongs)"))
    yield _case("a moisture of 400 %", WRONG_DATA, "Moisture", LOG.replace("17.5", "400"))
    yield _case(
        "flow of nothing but zeros",
        WRONG_DATA,
        'most are flagged "not working"',
        "\n".join([HEAD, *(",".join([*row.split(",")[:2], "0", *row.split(",")[3:]]) for row in ROWS)]),
        "map",
    )
    yield _case(
        "negative flow",
        WRONG_DATA,
        "would be -13.61 kg/s",
        "\n".join([HEAD, *(",".join([*row.split(",")[:2], "-30", *row.split(",")[3:]]) for row in ROWS)]),
        "map",
    )
    yield _case(
        "a column named for two roles",
        WRONG_DATA,
        "a column plays one role",
        LOG,
        keys='[points.columns]\nspeed = "Speed (mph)"\nwidth = "Speed (mph)"',
    )
    yield _case("a column that is not there", WRONG_DATA, "Sped", LOG, keys='[points.columns]\nspeed = "Sped"')


def _clocks() -> Iterator[Case]:
    read = "60 records"

    def clock(times: list[str]) -> str:
        return "\n".join([HEAD, *(f"{row.rpartition(',')[0]},{time}" for row, time in zip(ROWS, times, strict=True))]) + "\n"

    sound = [row.rpartition(",")[2] for row in ROWS]
    yield _case("a clock that runs backwards", DONE, read, clock(sound[::-1]))
    yield _case("a clock that leaps back an hour", DONE, read, clock(sound[:30] + [time.replace("T14", "T13") for time in sound[30:]]))
    yield _case("a clock that stands still", DONE, read, clock(sound[:1] * 60))
    yield _case("a clock of 1980", DONE, "usable date", clock([time.replace("2025", "1980") for time in sound]))
    yield _case("a clock of the year 9999", DONE, "usable date", clock([time.replace("2025", "9999") for time in sound]))
    yield _case(
        "the 30th of February", WRONG_DATA, "is not a time lossmap reads", clock([time.replace("10-18", "02-30") for time in sound])
    )
    yield _case("the 61st second", WRONG_DATA, "is not a time lossmap reads", clock([*sound[:-1], "2025-10-18T14:00:60Z"]))
    yield _case("two ways to write a time", WRONG_DATA, "is not a time lossmap reads", clock([*sound[:30], *["18.10.2025 14:00:31"] * 30]))
    yield _case("dates alone", DONE, "only a date", clock(["2025-10-18"] * 60))
    yield _case("words for times", WRONG_DATA, "is not a time lossmap reads", clock(["morning"] * 60))
    yield _case("seconds of a billion years", DONE, read, clock(["1e17"] * 60))
    yield _case("spreadsheet days", DONE, read, clock([f"{45948.583 + number / 86400:.7f}" for number in range(60)]))


def _places() -> Iterator[Case]:
    swapped = "\n".join([HEAD, *(",".join([row.split(",")[1], row.split(",")[0], *row.split(",")[2:]]) for row in ROWS)])
    yield _case("longitude and latitude exchanged", WRONG_DATA, "longitude and latitude look swapped", swapped)
    yield _case("a latitude of 91", WRONG_DATA, "row 2: latitude 91 is outside -90 to 90", _with(0, "41.9000000", "91"))
    yield _case("one record at 0, 0", DONE, "60 records", _with(5, "-93.60000,41.9000905", "0,0"))
    none = "\n".join([HEAD, *(",," + row.split(",", 2)[2] for row in ROWS)])
    across = [f"{(180 if number < 30 else -180):.5f}," + row.split(",", 1)[1] for number, row in enumerate(ROWS)]
    edge = {"log": "\n".join([HEAD, *across]), "counts": COUNTS.replace("-93.6", "180")}
    yield spoilt(KIND, "both sides of the date line", DONE, "60 records", **edge)
    north = {"log": LOG.replace("41.9", "89.9"), "counts": COUNTS.replace("41.9", "89.9")}
    yield spoilt(KIND, "eleven kilometres from the pole", DONE, "60 records", **north)
    still = "\n".join([HEAD, *(f"-93.6,41.9,{row.split(',', 2)[2]}" for row in ROWS)])
    yield _case("every record at one place", WRONG_DATA, "0 of 60 records can be believed", still, "map")
    yield _case("no position at all", WRONG_DATA, "longitude", none)
    yield _case(
        "all at 0, 0",
        WRONG_DATA,
        "0 of 60 records can be believed",
        "\n".join([HEAD, *("0,0," + row.split(",", 2)[2] for row in ROWS)]),
        "map",
    )
    yield _case("one record", WRONG_DATA, "at least 50 are needed", "\n".join([HEAD, ROWS[0]]), "map")
    yield _case("two records", WRONG_DATA, "at least 50 are needed", "\n".join([HEAD, *ROWS[:2]]), "map")
    yield _case("degrees called metres", WRONG_DATA, "is not in degrees, but its places are", LOG, keys='crs = "EPSG:32615"')
    utm = "\n".join(
        [
            HEAD.replace("longitude,latitude", "easting,northing"),
            *(f"450000,{4640000 + 2.0117 * number:.3f}," + row.split(",", 2)[2] for number, row in enumerate(ROWS)),
        ]
    )
    yield _case("metres without a system", WRONG_DATA, "does not say its coordinate system", utm)
    yield _case("metres of another zone", WRONG_DATA, "these are another field's counts", utm, "map", keys='crs = "EPSG:32633"')
    yield _case("metres called degrees", WRONG_DATA, "is outside -180 to 180", utm, keys='crs = "EPSG:4326"')
    yield _case("a system that is none", WRONG_DATA, 'crs "EPSG:0" is not known', LOG, keys='crs = "EPSG:0"')
    yield _case("a system of the moon", WRONG_DATA, "cannot be turned into longitude and latitude", LOG, keys='crs = "IAU_2015:30100"')
    yield _case("a system in space", WRONG_DATA, "is no map of the ground", LOG, keys='crs = "EPSG:4978"')
    yield _case("a system of heights", WRONG_DATA, "is no map of the ground", LOG, keys='crs = "EPSG:5703"')
    yield _case("a system with commands", WRONG_DATA, "is not known", LOG, keys="crs = '+proj=pipeline +step +init=/etc/passwd'")
    yield _case(
        "records far apart",
        WRONG_DATA,
        'most are flagged "bad position"',
        "\n".join([HEAD, *(f"{-93 + number},{41 - number / 2}," + row.split(",", 2)[2] for number, row in enumerate(ROWS))]),
        "map",
    )


def _strangers() -> Iterator[Case]:
    for name, (content, says) in {
        "a PDF": (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n<<>>\nendobj\n", "no column was understood as yield or mass flow"),
        "a picture": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(40), "is not a text table"),
        "a workbook": (b"PK\x03\x04" + bytes(60), "is not a text table"),
        "a page of an error": (b"<!DOCTYPE html>\n<html><body>404, not found</body></html>\n", "row 2 has 2 values, the header 1 name"),
        "JSON": (b'{"type": "FeatureCollection", "features": []}\n', "no record"),
        "a GeoPackage": (b"SQLite format 3\0" + bytes(200), "is not a text table"),
        "noise": (bytes((number * 7919 + number // 3) % 256 for number in range(4000)), "is not a text table"),
        "one letter": (b"x", "no record"),
        "one quote": (b'"', "row 1 opens a quote that is never closed"),
        "commas": (b",,,,,,,,\n,,,,,,,,\n", "no column was understood as yield or mass flow"),
    }.items():
        yield _case(f"{name} called points.csv", WRONG_DATA, says, content)


def _hostile() -> Iterator[Case]:
    for name, text in {
        "a formula": "=cmd|' /C calc'!A0",
        "a template": "{{ 7*7 }}{% include '/etc/passwd' %}",
        "a script": "<script>alert(1)</script><img src=x onerror=alert(1)>",
        "a path": "../../../../etc/passwd",
        "a shell": "$(touch /tmp/lossmap-was-here); `id`",
        "signs of a terminal": "\x1b]0;owned\x07\x1b[2J",
        "directions of text": "\u202egnirts\u2066",
        "a format": "%s%n{0.__class__}",
    }.items():
        rows = [f"{HEAD},machine", *(f'{row},"{text}"' for row in ROWS)]
        yield _case(f"{name} for a machine's name", DONE, "60 records", "\n".join(rows))
        yield _case(f"{name} for a column's name", DONE, "60 records", "\n".join([f'{HEAD},"{text}"', *(f"{row},1" for row in ROWS)]))
        yield _case(f"{name} for a number", WRONG_DATA, "is not a number", _with(5, "17.5", f'"{text}"'))
    yield _case("a cell of a megabyte", WRONG_DATA, "is not a number", _with(5, "17.5", "9" * 1_000_000 + "x"))
    yield _case(
        "a note of a megabyte",
        DONE,
        "60 records",
        "\n".join([f"{HEAD},remark", f"{ROWS[0]},{'x' * 1_000_000}", *(f"{row}," for row in ROWS[1:])]),
    )
    yield _case(
        "a name of a megabyte",
        WRONG_DATA,
        "its header line cannot be cut into names",
        "\n".join([f"{HEAD},{'n' * 1_000_000}", *(f"{row},1" for row in ROWS)]),
    )
    names = ",".join(f"c{number}" for number in range(5_000))
    yield _case("five thousand columns", DONE, "60 records", "\n".join([f"{HEAD},{names}", *(row + ",1" * 5_000 for row in ROWS)]))
    yield _case("a line of a million commas", WRONG_DATA, "row 62 has 1000001 values, the header 6 names", LOG + "," * 1_000_000)
    yield _case("quotes by the thousand", WRONG_DATA, "row 62 opens a quote that is never closed", LOG + '"' * 9_999)
