"""Our page templates, autoescaped: text from files goes in as values and never as template."""

from __future__ import annotations

import base64
import functools
import hashlib
import json
import re
from collections.abc import Iterable
from importlib import resources
from typing import Any

import jinja2
import markupsafe

__all__ = ["LIVE", "asset", "filled", "json_block", "policy", "script"]

#: The first script of a page that has any: what only scripts can fill is shown, what stands in for it is not.
LIVE = 'document.documentElement.className = "live";'

# What a page must not hold, not even escaped (HTML standard, 13.2.3.5): controls but white space, noncharacters, half characters.
_NOT_HTML = re.compile("[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")


@functools.cache
def asset(name: str) -> str:
    """Content of a file in ``assets/``."""
    return resources.files(__package__).joinpath("assets").joinpath(name).read_text(encoding="utf-8")


def script(room: str, parts: Iterable[str]) -> str:
    """A page's own script: the files of ``assets/<room>/`` as one function, which see each other's names and leave the page none."""
    return '(function () {\n"use strict";\n' + "".join(asset(f"{room}/{part}.js") for part in parts) + "})();\n"


def filled(template: str, **values: Any) -> str:
    """A template of ``assets/`` with `values`, signs that no page may hold replaced; a name it lacks is a bug and raises."""
    return _NOT_HTML.sub("\ufffd", _environment().get_template(template).render(**values))


@functools.cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(asset),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def json_block(content: Any) -> markupsafe.Markup:
    """JSON that may stand inside a ``<script type="application/json">``: nothing in it can close the element."""
    text = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return markupsafe.Markup(text)


def policy(scripts: Iterable[str] = (), pictures_from: str | None = None) -> str:
    """A page's security policy: only these scripts run, whatever text a file held; no host is asked but one for pictures."""
    pictures = f"data: https://{pictures_from}" if pictures_from else "data:"
    hashes = " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in scripts)
    of_scripts = f"script-src {hashes}; " if hashes else ""
    return f"default-src 'none'; img-src {pictures}; style-src 'unsafe-inline'; {of_scripts}base-uri 'none'; form-action 'none'"
