"""Leaflet's own files, from the pinned package, in a form that asks the network for nothing."""

from __future__ import annotations

import base64
import functools
import importlib.metadata
import re
from importlib import resources

__all__ = ["licence", "script", "style"]

_PACKAGE, _DISTRIBUTION = "js_lib_leaflet", "django-js-lib-leaflet"


@functools.cache
def script() -> str:
    """leaflet.js without the line that points to its source map, which a page alone does not have."""
    return re.sub(r"\s*//# sourceMappingURL=\S*\s*$", "\n", _text("leaflet.js"))


@functools.cache
def style() -> str:
    """leaflet.css, its pictures inside."""
    return re.sub(r"url\((images/[\w.-]+\.png)\)", lambda found: f"url({_picture(found[1])})", _text("leaflet.css"))


@functools.cache
def licence() -> str:
    """The licence, which travels with every copy."""
    return importlib.metadata.distribution(_DISTRIBUTION).read_text("LICENSE") or ""


def _picture(name: str) -> str:
    return "data:image/png;base64," + base64.b64encode(_folder().joinpath(name).read_bytes()).decode("ascii")


def _text(name: str) -> str:
    return _folder().joinpath(name).read_text(encoding="utf-8")


def _folder() -> resources.abc.Traversable:
    return resources.files(_PACKAGE).joinpath("static", _PACKAGE)
