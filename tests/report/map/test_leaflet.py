"""Leaflet's files, as the page takes them."""

from __future__ import annotations

import re

from lossmap.report.map import leaflet


def test_nothing_in_the_files_asks_for_another() -> None:
    """Pictures are inside; the line naming a source map is gone; VML of old browsers names no file."""
    assert "sourceMappingURL" not in leaflet.script()
    assert "Leaflet 1.9.4" in leaflet.script()
    urls = re.findall(r"url\(([^)]{0,40})", leaflet.style())
    assert len(urls) == 4
    assert all(url.startswith(("data:image/png;base64,", "#default#VML")) for url in urls)


def test_the_licence_travels_with_it() -> None:
    """BSD-2-Clause wants its notice in every copy."""
    assert "Redistribution and use in source and binary forms" in leaflet.licence()
