from __future__ import annotations

import pytest

from lossmap.base.errors import ReadError
from lossmap.read.taskdata import safe_xml
from lossmap.read.taskdata.safe_xml import attribute, number, parsed, whole

BOMB = (
    '<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {name} "{f"&{below};" * 10}">' for below, name in zip("abcdefghi", "bcdefghij", strict=True))
    + "]><ISO11783_TaskData>&j;</ISO11783_TaskData>"
)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_a_document_type_is_refused_in_every_encoding(encoding):
    """Neither an entity bomb nor an outside file is ever looked at, however the bytes are written."""
    with pytest.raises(ReadError, match=r"^td/TASKDATA\.XML: has a DOCTYPE declaration, which task data never have"):
        parsed(BOMB.encode(encoding), "td/TASKDATA.XML")
    with pytest.raises(ReadError, match="has a DOCTYPE declaration"):
        parsed('<!DOCTYPE x SYSTEM "file:///etc/hostname"><x/>'.encode(encoding), "x")


def test_an_encoding_cannot_hide_one():
    """A declared encoding beyond the usual is refused by name: nothing is searched in one encoding and parsed in another."""
    hidden = b'<?xml version="1.0" encoding="cp037"?>' + '<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>'.encode("cp037")
    with pytest.raises(ReadError, match="is written in cp037, which task data are not; save it as UTF-8"):
        parsed(hidden, "x")
    for encoding in ("utf-7", "rot13", "nonsense", "idna"):
        with pytest.raises(ReadError, match=f"is written in {encoding}"):
            parsed(f'<?xml version="1.0" encoding="{encoding}"?>+ADwAIQ-DOCTYPE a+AD4-<a/>'.encode(), "x")


@pytest.mark.parametrize(
    "content", [b"", b"<a>", b"<a><b></a>", b"<a/>trailing", b"\xff\xfe<\x00", b"&lt;", b"<a>&unknown;</a>", b"\0" * 50]
)
def test_what_is_not_well_formed_is_refused(content):
    """Cut off, crossed, empty, or with an entity nobody declared."""
    with pytest.raises(ReadError, match=r"^x: is not well-formed XML \(.+\); copy it from the machine again$"):
        parsed(content, "x")


def test_what_machines_write_is_read():
    """A mark at the start, zeros behind the end, a namespace, Latin letters under a wrong declaration."""
    root = parsed(b'\xef\xbb\xbf<?xml version="1.0"?><a xmlns="urn:b"><c D="e\xf6"/></a>\r\n' + bytes(500), "x")
    assert root.tag == "a"
    assert root.find("c").get("D") == "e\ufffd"
    assert parsed('<?xml version="1.0" encoding="ISO-8859-1"?><a B="ö"/>'.encode("latin-1"), "x").get("B") == "ö"
    assert parsed('<?xml version="1.0" encoding="utf8"?><a B="ö"/>'.encode(), "x").get("B") == "ö"
    assert parsed('<?xml version="1.0" encoding="UTF-16"?><a B="ö"/>'.encode("utf-16"), "x").get("B") == "ö"


def test_depth_and_number_of_elements_are_bounded(monkeypatch):
    """A hundred thousand nested elements neither hang nor overflow; too many are refused before parsing."""
    assert parsed(b"<a>" * 100_000 + b"</a>" * 100_000, "x").tag == "a"
    monkeypatch.setattr(safe_xml, "MOST_ELEMENTS", 10)
    with pytest.raises(ReadError, match="has more than 10 elements"):
        parsed(b"<a>" + b"<b/>" * 30 + b"</a>", "x")


def test_values_that_are_none():
    """Text that is no number is None, whatever its length; spaces around one do not matter."""
    assert [whole(text) for text in ("12", "-3", "", "1.5", "9" * 30, "x")] == [12, -3, None, None, None, None]
    assert whole("005A", 16) == 90
    assert [number(text) for text in ("41.9", "", "nan", "1e999", "x")] == [41.9, None, None, None, None]
    assert attribute(parsed(b'<a B=" c "/>', "x"), "B") == "c"
    assert attribute(parsed(b"<a/>", "x"), "B") == ""
