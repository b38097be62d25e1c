"""The files of a plan: all of them, the same each time, or a refusal."""

from __future__ import annotations

from pathlib import Path

import pytest

from lossmap.base.errors import WriteError
from lossmap.report.stops.files import FILES, write_plan
from lossmap.report.stops.plan import StopsPlan


def test_every_file_is_written_or_refused(plan: StopsPlan, tmp_path: Path) -> None:
    """Three files, the same bytes each time; a folder that is not there is named."""
    files = write_plan(plan, tmp_path)
    assert [file.name for file in files] == ["stops-plan.geojson", "stops-plan.gpx", "count-sheet.html"] == [name for name, _ in FILES]
    before = [file.read_bytes() for file in files]
    assert [file.read_bytes() for file in write_plan(plan, tmp_path)] == before
    with pytest.raises(WriteError, match=r"stops-plan.geojson: cannot be written \(No such file or directory\); check that the folder"):
        write_plan(plan, tmp_path / "nowhere")
