"""Lists of counts."""

from __future__ import annotations

from collections.abc import Iterator

from .cases import COUNTS, DONE, WRONG_DATA, Case, spoilt, truncated

KIND = "counts"


def _case(name: str, ends: int, says: str, counts: str | bytes, flow: str = "check") -> Case:
    return spoilt(KIND, name, ends, says, flow, counts=counts)


def _with(old: str, new: str) -> str:
    assert old in COUNTS
    return COUNTS.replace(old, new, 1)


def cases() -> Iterator[Case]:
    """Encodings and cuts, words and numbers that cannot be, places, and hostile text."""
    read = "counts: 2 stops"
    yield _case("sound", DONE, read, COUNTS)
    yield _case("UTF-8 with its mark", DONE, read, b"\xef\xbb\xbf" + COUNTS.encode())
    yield _case("UTF-16", DONE, read, COUNTS.encode("utf-16"))
    yield _case("Latin-1", DONE, read, COUNTS.replace("dry", "tr\xe8s sec").encode("latin-1"))
    yield _case("semicolons and decimal commas", DONE, read, COUNTS.replace(",", ";").replace(".", ","))
    yield _case("CRLF", DONE, read, COUNTS.replace("\n", "\r\n"))
    yield _case("NULs", WRONG_DATA, "is not a text table", COUNTS.encode() + bytes(9))
    yield _case("empty", WRONG_DATA, "counts.csv: is empty (0 bytes)", "")
    yield _case("a header alone", WRONG_DATA, "no record", COUNTS.splitlines()[0] + "\n")
    for name, content in truncated(COUNTS.encode(), 0.1, 0.2).items():
        yield _case(name, WRONG_DATA, "no record", content)
    for name, content in truncated(COUNTS.encode(), 0.5, 0.7, 0.9).items():
        yield _case(name, WRONG_DATA, 'position "" is not known', content)
    yield _case("cut off behind a row", DONE, "counts: 1 stop (", "\n".join(COUNTS.splitlines()[:3]))
    for column, says in {
        "position": "no column says the position",
        "seeds": "no column holds seeds, grams or ears",
        "frame_ft2": "no column says the frame's area",
        "stop": "no column names the stop",
        "longitude": "no columns say where the stops lie",
    }.items():
        yield _case(f"no column {column}", WRONG_DATA, says, _with(column, "other"))
    for word in ("left of it", "", "before; drop table", "99"):
        yield _case(f"position {word!r}", WRONG_DATA, f'position "{word}" is not known', _with("before header", word))
    yield _case(
        "the words of the trade",
        DONE,
        read,
        COUNTS.replace("before header", "Pre-harvest").replace("behind header", "HEAD").replace("behind combine", "Rear"),
    )
    for number, says in {
        "-1": "a count below zero",
        "nan": "neither seeds, grams nor ears",
        "": "neither seeds, grams nor ears",
        "inf": "is no number a machine writes",
        "1e999": "is no number a machine writes",
        "many": "is not a number",
        "=1+1": "is not a number",
        "1e13": "is no number a machine writes",
    }.items():
        yield _case(
            f"seeds {number or 'blank'}",
            WRONG_DATA,
            says,
            _with("1,-93.6,41.9002,before header,1,1,4,", f"1,-93.6,41.9002,before header,{number},1,4,"),
        )
    yield _case("a million seeds in a frame", DONE, read, _with("before header,1,", "before header,1000000,"))
    yield _case(
        "a trillion seeds in a frame",
        WRONG_DATA,
        "seeds must lie between 0 and 1e+06",
        _with("before header,1,", "before header,900000000000,"),
    )
    yield _case(
        "no seed anywhere, mapped",
        DONE,
        "loss",
        "\n".join(
            line if number == 0 else ",".join([*line.split(",")[:4], "0", *line.split(",")[5:]])
            for number, line in enumerate(COUNTS.splitlines())
        ),
        "map",
    )
    for frame, says in {
        "0": "no frame area above zero",
        "-1": "no frame area above zero",
        "": "no frame area above zero",
        "1e999": "is no number a machine writes",
    }.items():
        yield _case(f"a frame of {frame or 'blank'}", WRONG_DATA, says, _with("before header,1,1,4", f"before header,1,{frame},4"))
    yield _case("a frame without a unit", WRONG_DATA, "has no unit", _with("frame_ft2", "frame"))
    yield _case(
        "a frame in a unit that is none",
        WRONG_DATA,
        '"parsec" is not a unit lossmap knows',
        COUNTS.replace("frame_ft2", "frame").replace(",1,4,", ",1 parsec,4,"),
    )
    yield _case("no frames laid", WRONG_DATA, "fewer than one frame", _with("before header,1,1,4", "before header,1,1,0"))
    yield _case("a stop without a name", WRONG_DATA, "is blank; name the stop", _with("\n1,", "\n,"))
    yield _case(
        "one stop at two places", WRONG_DATA, "its frames lie 89 m apart", _with("1,-93.6,41.9002,before", "1,-93.6,41.9010,before"), "map"
    )
    yield _case("a latitude of 999", WRONG_DATA, "row 2: latitude 999 is outside -90 to 90", _with("41.9002", "999"))
    yield _case("no place", WRONG_DATA, "has no place (longitude and latitude); every count needs one", _with("-93.6,41.9002", ","))
    yield _case(
        "longitude and latitude exchanged",
        WRONG_DATA,
        "latitude",
        COUNTS.replace("-93.6,41.9002", "41.9002,-93.6").replace("-93.6,41.9006", "41.9006,-93.6"),
    )
    many = COUNTS + "".join(
        f"{stop},-93.6,41.900{stop},{position},{stop + seeds},1,4,\n"
        for stop in range(3, 8)
        for position, seeds in (("before header", 0), ("behind header", 5), ("behind combine", 9))
    )
    yield _case("the list twice, one under the other", WRONG_DATA, "counts stand there twice", many + many.split("\n", 1)[1], "map")
    yield _case("a stop written twice", DONE, "loss", many + "".join(f"{line}\n" for line in many.splitlines()[1:4]), "map")
    astray = many.replace("-93.6,41.9007", "-93.6,41.9097")
    yield _case("a stop a kilometre off, by a slip", DONE, "1 stop lies off the field (stop 7", astray, "map")
    yield _case("another field's", WRONG_DATA, "these are another field's counts", COUNTS.replace("-93.6", "-97.6"))
    yield _case("a time that is none", WRONG_DATA, "is not a time lossmap reads", COUNTS.replace("note", "time").replace("dry", "noon"))
    yield _case("two columns of one name", DONE, read, COUNTS.replace("note", "seeds"))
    yield _case("seeds and grams", WRONG_DATA, "both seeds and grams", COUNTS.replace("note", "grams").replace("dry", "3"))
    for name, text in {
        "a formula": '"=HYPERLINK(""http://x"")"',
        "a script": '"<script>alert(1)</script>"',
        "a template": '"{{7*7}}{%raw%}"',
        "signs of a terminal": "\x1b[31mred",
        "directions of text": "\u202egnirts",
        "a long text": "x" * 100_000,
    }.items():
        yield _case(f"{name} for a note, mapped", DONE, "loss", _with("dry", text), "map")
        yield _case(f"{name} for a stop's name, mapped", DONE, "loss", _with("\n2,", f"\n{text},"), "map")
