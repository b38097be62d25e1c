"""ISO 11783-10 task data: folder and zip."""

from __future__ import annotations

import io
import struct
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from .cases import COUNTS, DONE, FACTS, WRONG_DATA, WRONG_WAY, Case, zipped

KIND = "points, ISO 11783-10"
RECORDS = 60

DESCRIPTION = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<ISO11783_TaskData VersionMajor="4" VersionMinor="3" DataTransferOrigin="2">'
    '<DVC A="DVC-1" B="Made combine"><DET A="DET-1" B="1" C="1" F="0"/></DVC>'
    '<TSK A="TSK-1" B="Made task" G="4"><TIM A="2025-10-17T12:00:00Z" D="4"/><DAN A="A0" C="DVC-1"/><TLG A="TLG00001" C="1"/></TSK>'
    "</ISO11783_TaskData>"
)
HEADER = '<?xml version="1.0" encoding="UTF-8"?>\n<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0057" B="" C="DET-1"/></TIM>'


def record(second: int, north: int = 419_000_000, east: int = -936_000_000, day: int = 16_726, flow: int = 12_000_000) -> bytes:
    """One second's: time, place, mass flow [mg/s]."""
    return struct.pack("<IHiiBB", 43_200_000 + 1000 * second, day, north + 181 * second, east, 1, 1) + struct.pack("<Bi", 0, flow)


BINARY = b"".join(record(second) for second in range(RECORDS))
FILES: dict[str, bytes] = {"TASKDATA.XML": DESCRIPTION.encode(), "TLG00001.xml": HEADER.encode(), "TLG00001.bin": BINARY}


def cases() -> Iterator[Case]:
    """XML that attacks, binaries that are damaged, zips that lead out or burst, folders with links."""
    yield _folder("sound", DONE, "60 records")
    yield _zip("sound, zipped", DONE, "60 records", FILES)
    yield from _xml()
    yield from _binaries()
    yield from _zips()
    yield from _links()


def _write(folder: Path, files: Mapping[str, bytes | None]) -> Path:
    place = folder / "creek"
    (place / "td").mkdir(parents=True)
    (place / "field.toml").write_text(f'{FACTS}[[points]]\npath = "td"\n[[counts]]\npath = "counts.csv"\n')
    (place / "counts.csv").write_text(COUNTS)
    for name, content in files.items():
        if content is not None:
            (place / "td" / name).write_bytes(content)
    return place


def _folder(name: str, ends: int, says: str, flow: str = "check", **changed: bytes | str | None) -> Case:
    """Parts of the sound folder replaced: description, header, binary."""
    names = {"description": "TASKDATA.XML", "header": "TLG00001.xml", "binary": "TLG00001.bin"}
    files: dict[str, bytes | None] = dict(FILES)
    for part, content in changed.items():
        files[names[part]] = content.encode() if isinstance(content, str) else content

    def write(folder: Path) -> None:
        _write(folder, files)

    return Case(KIND, name, write, ends, says, flow)


def _zip(name: str, ends: int, says: str, files: Mapping[str, bytes] | bytes, flow: str = "check") -> Case:
    def write(folder: Path) -> None:
        place = _write(folder, {})
        (place / "td").rmdir()
        (place / "td.zip").write_bytes(files if isinstance(files, bytes) else zipped(files))
        (place / "field.toml").write_text((place / "field.toml").read_text().replace('"td"', '"td.zip"'))

    return Case(KIND, name, write, ends, says, flow)


def _xml() -> Iterator[Case]:
    laughs = '<!DOCTYPE x [<!ENTITY a0 "ha">' + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10)) + "]>"
    outside = '<!DOCTYPE x [<!ENTITY a9 SYSTEM "file:///etc/passwd">]>'
    root = DESCRIPTION.index("<ISO")
    for name, head in {"entities in entities": laughs, "an entity of another file": outside}.items():
        text = DESCRIPTION[:root] + head + DESCRIPTION[root:].replace("Made task", "&a9;")
        yield _folder(name, WRONG_DATA, "declaration, which task data never have", description=text)
        yield _folder(f"{name}, in UTF-16", WRONG_DATA, "declaration, which task data never have", description=text.encode("utf-16"))
        yield _folder(
            f"{name}, in the header of a log",
            WRONG_DATA,
            "declaration, which task data never have",
            header=HEADER.replace("<TIM", head + "<TIM"),
        )
    yield _folder("UTF-7", WRONG_DATA, "is written in utf-7", description=DESCRIPTION.replace("UTF-8", "utf-7"))
    yield _folder(
        "Latin-1",
        DONE,
        "60 records",
        description=DESCRIPTION.replace("UTF-8", "ISO-8859-1").replace("Made task", "p\xe2ture").encode("latin-1"),
    )
    yield _folder("UTF-16", DONE, "60 records", description=DESCRIPTION.replace("UTF-8", "UTF-16").encode("utf-16"))
    yield _folder("NULs behind the end", DONE, "60 records", description=DESCRIPTION.encode() + bytes(512))
    for share in (0.0, 0.3, 0.6, 0.95):
        yield _folder(
            f"description, first {share:.0%}",
            WRONG_DATA,
            "TASKDATA.XML: is not well-formed XML",
            description=DESCRIPTION[: int(len(DESCRIPTION) * share)],
        )
        yield _folder(
            f"header, first {share:.0%}", WRONG_DATA, "TLG00001.xml: is not well-formed XML", header=HEADER[: int(len(HEADER) * share)]
        )
    yield _folder("another root", WRONG_DATA, "is no ISO 11783-10 task data", description="<kml/>")
    yield _folder("elements in elements without end", WRONG_DATA, "is not well-formed XML", description="<a>" * 50_000)
    yield _folder(
        "a name that leads out",
        WRONG_DATA,
        "is missing (TASKDATA.XML lists it)",
        description=DESCRIPTION.replace("TLG00001", "../../secret"),
        header=None,
        binary=None,
    )
    yield _folder(
        "part of it elsewhere", DONE, "60 records", description=DESCRIPTION.replace("<DVC", '<XFR A="../../../etc/passwd" B="1"/><DVC', 1)
    )
    yield _folder(
        "a script for a machine's name, mapped",
        DONE,
        "loss",
        "map",
        description=DESCRIPTION.replace("Made combine", "&lt;script&gt;alert(1)&lt;/script&gt;{{7*7}}"),
    )
    yield _folder(
        "a header that lists a million values",
        WRONG_DATA,
        "is larger than 1 MB",
        header=HEADER.replace("<DLV", '<DLV A="0057" B="" C="DET-1"/>' * 100_000 + "<DLV"),
    )
    yield _folder("numbers that are none", DONE, "60 records", description=DESCRIPTION.replace('C="1"/></TSK>', 'C="one" B="9e99"/></TSK>'))


def _binaries() -> Iterator[Case]:
    size = len(BINARY) // RECORDS
    for share in (0.02, 0.35, 0.5, 0.9):
        whole = int(len(BINARY) * share) // size
        yield _folder(f"binary, first {share:.0%}", DONE, f"{whole} record", binary=BINARY[: int(len(BINARY) * share)])
    yield _folder("no binary", WRONG_DATA, "a file of TLG00001 is missing", binary=None)
    yield _folder("no header", WRONG_DATA, "a file of TLG00001 is missing", header=None)
    yield _folder("an empty binary", WRONG_DATA, "holds no record", binary=b"")
    yield _folder("zeros for a binary", WRONG_DATA, "no time log holds yield or mass flow", binary=bytes(5_000))
    yield _folder("ones for a binary", WRONG_DATA, "is damaged at byte 0 of 5,000", binary=b"\xff" * 5_000)
    yield _folder("text for a binary", WRONG_DATA, "is damaged at byte 0 of 5,700", binary="longitude,latitude\n" * 300)
    yield _folder("a clock that runs backwards", DONE, "60 records", binary=b"".join(record(RECORDS - second) for second in range(RECORDS)))
    yield _folder("days beyond the calendar", DONE, "60 records", binary=b"".join(record(second, day=65_535) for second in range(RECORDS)))
    yield _folder(
        "no fix anywhere",
        WRONG_DATA,
        "has a position",
        binary=b"".join(record(second, north=2_147_000_000, east=2_147_000_000) for second in range(RECORDS)),
    )
    yield _folder("a log without grain", WRONG_DATA, "no time log holds yield or mass flow", header=HEADER.replace("0057", "0001"))


def _zips() -> Iterator[Case]:
    for name, lead in {"up": "../", "from the root": "/", "on a drive": "C:/", "with backslashes up": "..\\"}.items():
        yield _zip(
            f"zip, names that lead {name}",
            WRONG_DATA,
            "holds no Shapefile and no TASKDATA.XML",
            {f"{lead}{file}": content for file, content in FILES.items()},
        )
    yield _zip("zip, with others that lead out", DONE, "60 records", {**FILES, "../../evil.sh": b"x", "/etc/cron.d/x": b"x"})
    yield _zip("zip, a bomb", WRONG_DATA, "times its size, which no log does", {**FILES, "TLG00002.bin": bytes(30_000_000)})
    yield _zip("zip, twice the same name", WRONG_DATA, "holds 2 files named taskdata.xml", _twice())
    yield _zip("zip, thirty thousand files", WRONG_DATA, "files", {**FILES, **{f"{number}": b"" for number in range(30_000)}})
    yield _zip("zip in a zip", WRONG_DATA, "holds no Shapefile and no TASKDATA.XML", {"td.zip": zipped(FILES)})
    whole = zipped(FILES)
    for share in (0.1, 0.5, 0.9, 0.99):
        yield _zip(f"zip, first {share:.0%}", WRONG_DATA, "cannot be read as .zip", whole[: int(len(whole) * share)])
    yield _zip("zip, something before it", DONE, "60 records", b"MZ" * 400 + whole)
    blotted = bytearray(whole)
    blotted[60:90] = b"\xff" * 30
    yield _zip("zip, bytes blotted out", WRONG_DATA, "cannot be unpacked", bytes(blotted))
    yield _zip("zip, lzma", DONE, "60 records", zipped(FILES, zipfile.ZIP_LZMA))
    lies = bytearray(whole)
    place = lies.find(b"PK\x01\x02")
    lies[place + 24 : place + 28] = struct.pack("<I", 4_000_000_000)
    yield _zip("zip, a size that is a lie", WRONG_DATA, "would unpack to", bytes(lies))


def _twice() -> bytes:
    import warnings

    out = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w") as archive:
        warnings.simplefilter("ignore")
        for _ in range(2):
            for name, content in FILES.items():
                archive.writestr(name, content)
    return out.getvalue()


def _links() -> Iterator[Case]:
    def out_of_the_folder(folder: Path) -> None:
        place = _write(folder, {**FILES, "TLG00001.bin": None})
        (folder / "secret.bin").write_bytes(BINARY)
        (place / "td" / "TLG00001.bin").symlink_to(folder / "secret.bin")

    def whole_folder(folder: Path) -> None:
        place = _write(folder, FILES)
        (place / "td").rename(folder / "elsewhere")
        (place / "td").symlink_to(folder / "elsewhere")

    def to_nothing(folder: Path) -> None:
        place = _write(folder, {**FILES, "TLG00001.bin": None})
        (place / "td" / "TLG00001.bin").symlink_to("nowhere")

    def to_itself(folder: Path) -> None:
        (_write(folder, FILES) / "td" / "more").symlink_to(".")

    yield Case(KIND, "a log that is a link out of the folder", out_of_the_folder, WRONG_DATA, "is a link out of the folder")
    yield Case(KIND, "a folder that is a link out of the field's", whole_folder, WRONG_WAY, "lies outside the field's folder")
    yield Case(KIND, "a link to nothing", to_nothing, WRONG_DATA, "cannot be read (No such file")
    yield Case(KIND, "a folder that is a link to itself", to_itself, DONE, "60 records")
