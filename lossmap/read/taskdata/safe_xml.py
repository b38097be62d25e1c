"""XML from machines: read without entities, without a document type, and not larger than it can sensibly be."""

from __future__ import annotations

import codecs
import math
import re
from xml.etree import ElementTree

from lossmap.base.errors import ReadError, shown

__all__ = ["MOST_XML", "Element", "attribute", "number", "parsed", "whole"]

Element = ElementTree.Element

#: A whole season's TASKDATA.XML is a few megabytes.
MOST_XML = 100_000_000
# Each element takes some hundred bytes of memory, however short its text.
MOST_ELEMENTS = 4_000_000

_DECLARED = re.compile(rb"""^\s*<\?xml[^>]{0,200}?encoding\s*=\s*["']([A-Za-z0-9._-]{1,40})["']""")
_ENCODINGS = ("utf-8", "ascii", "iso8859-1", "iso8859-15", "cp1250", "cp1252")
_FORBIDDEN = re.compile(r"<!(DOCTYPE|ENTITY)")


def parsed(content: bytes, where: str) -> Element:
    """The root element, tags without their namespace.

    Bytes that are no letter in the stated encoding become a replacement mark: only names
    that people typed can hold them.

    Raises
    ------
    ReadError
        Not well-formed, a document type or an entity, an encoding beyond the usual, or too many elements.
    """
    text = _decoded(content, where)
    found = _FORBIDDEN.search(text)
    if found:
        raise ReadError(f"{where}: has a {found[1]} declaration, which task data never have; it is not read, export the file again")
    if text.count("<") > 2 * MOST_ELEMENTS:
        raise ReadError(f"{where}: has more than {MOST_ELEMENTS:,} elements, which no task data have; split the task data")
    # fed as text, so that no second encoding can hide anything from the search above
    parser = ElementTree.XMLParser()
    try:
        parser.feed(text)
        root = parser.close()
    except ElementTree.ParseError as fault:
        raise ReadError(f"{where}: is not well-formed XML ({shown(fault)}); copy it from the machine again") from fault
    if "xmlns" in text:
        for element in root.iter():
            element.tag = element.tag.rpartition("}")[2]
    return root


def _decoded(content: bytes, where: str) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace")
    # machines write files of a fixed length and leave the rest at zero
    content = content.rstrip(b"\0").removeprefix(b"\xef\xbb\xbf")
    declared = _DECLARED.match(content)
    encoding = declared[1].decode() if declared else "utf-8"
    try:
        usual = codecs.lookup(encoding).name in _ENCODINGS
    except LookupError:
        usual = False
    if not usual:
        raise ReadError(f"{where}: is written in {shown(encoding)}, which task data are not; save it as UTF-8")
    return content.decode(encoding, errors="replace")


def attribute(element: Element, name: str) -> str:
    """An attribute's text, "" where it has none."""
    return (element.get(name) or "").strip()


def whole(text: str, base: int = 10) -> int | None:
    """Text as a whole number, None where it is none or too long to be one."""
    try:
        return int(text, base) if len(text) <= 20 else None
    except ValueError:
        return None


def number(text: str) -> float | None:
    """Text as a finite number, None where it is none."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
