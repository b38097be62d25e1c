"""What many tests share: where open data lie, and folders of a field as people write them."""

from __future__ import annotations

import os

# before numpy is loaded: one thread, as the command runs
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from collections.abc import Callable
from pathlib import Path

import hypothesis
import pytest

# how long a test takes is for benchmarks to say, not for a busy machine to fail
hypothesis.settings.register_profile("lossmap", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow])
hypothesis.settings.load_profile("lossmap")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's root."""
    return ROOT


@pytest.fixture(scope="session")
def open_data() -> Callable[[str], Path]:
    """A file of the open data beside the project; skips, with the reason, where they are not."""
    folder = Path(os.environ.get("LOSSMAP_OPEN_DATA", ROOT.parent / "shared" / "open-data"))

    def find(name: str) -> Path:
        path = folder / name
        if not path.exists():
            pytest.skip(f"open data not here ({name}); set LOSSMAP_OPEN_DATA to their folder")
        return path

    return find


FIELD_TOML = """\
name = "Made creek"
crop = "corn"
header_width = "30 ft"
"""

POINTS_CSV = """\
longitude,latitude,Mass flow (lb/s),Moisture (%),Speed (mph),interval (s)
-93.60000,41.90000,30,17,5,1
-93.60000,41.90002,31,17,5,1
-93.60000,41.90004,32,17,5,1
"""

COUNTS_CSV = """\
stop,longitude,latitude,position,seeds,frame_ft2,frames
1,-93.6,41.90002,before header,1,1,4
1,-93.6,41.90002,behind header,6,1,4
1,-93.6,41.90002,behind combine,9,1,4
"""


@pytest.fixture
def field_folder(tmp_path: Path) -> Callable[..., Path]:
    """Write a made field of three records and one stop, any part replaced or left out (None)."""

    def write(
        facts: str = FIELD_TOML,
        points: str | bytes | None = POINTS_CSV,
        counts: str | None = COUNTS_CSV,
        points_keys: str = "",
        name: str = "creek",
        points_name: str = "points.csv",
    ) -> Path:
        folder = tmp_path / name
        folder.mkdir(exist_ok=True)
        text = facts
        if points is not None:
            (folder / points_name).write_bytes(points if isinstance(points, bytes) else points.encode())
            text += f'\n[[points]]\npath = "{points_name}"\n{points_keys}\n'
        if counts is not None:
            (folder / "counts.csv").write_text(counts)
            text += '\n[[counts]]\npath = "counts.csv"\n'
        (folder / "field.toml").write_text(text)
        return folder

    return write
