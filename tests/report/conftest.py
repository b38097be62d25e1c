"""What the report's tests share: a made field and its plan, and a browser to open pages in."""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import pytest

from lossmap.base.field import FieldMap
from lossmap.report import StopsPlan
from report.made_fields import HOSTILE, made_field_map, made_hostile, made_plan


@pytest.fixture(scope="session")
def field_map() -> FieldMap:
    """120 x 80 cells of 5 m, 12 stops, 3,000 points, two zones; everything in it is made."""
    return made_field_map()


@pytest.fixture(scope="session")
def made() -> Callable[..., FieldMap]:
    """Makes further fields: ``made((rows, cols), points)``."""
    return made_field_map


@pytest.fixture(scope="session")
def browsing() -> ModuleType:
    """The browser beside this file; loaded only by tests that open pages."""
    return importlib.import_module("report.browsing")


@pytest.fixture(scope="module")
def browser(browsing: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A headless browser; where there is none, CI fails and others skip with the reason."""
    missing = [str(path) for path in (browsing.CHROMIUM, browsing.DRIVER) if not path.exists()]
    if missing and os.environ.get("CI"):
        pytest.fail(f"{', '.join(missing)} must be there in CI; install chromium and chromium-driver")
    if missing:
        pytest.skip(f"{', '.join(missing)} not here; install chromium and chromium-driver")
    opened = browsing.Browser(tmp_path_factory.mktemp("profile"))
    yield opened
    opened.quit()


@pytest.fixture(scope="session")
def hostile() -> str:
    """The hostile text itself."""
    return HOSTILE


@pytest.fixture(scope="session")
def hostile_map(field_map: FieldMap) -> FieldMap:
    """The same field, with markup, template code and formulas wherever text can come from a file."""
    return made_hostile(field_map)


@pytest.fixture(scope="session")
def make_plan() -> Callable[..., StopsPlan]:
    """Makes plans of three stops: ``make_plan(field_map, counted=0)``."""
    return made_plan


@pytest.fixture(scope="session")
def plan(field_map: FieldMap) -> StopsPlan:
    """Three stops after a first round of twelve; made."""
    return made_plan(field_map)
