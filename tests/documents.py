"""What README shows, made anew from what the commands print: ``make docs`` writes it, a test compares."""

from __future__ import annotations

import contextlib
import datetime
import io
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from lossmap.pipelines.command import main

ROOT = Path(__file__).resolve().parent.parent
_BLOCK = re.compile(r"(<!-- output: (\w+) -->\n)(.*?)(<!-- end -->)", re.DOTALL)
_SHOWN = "gravel-eighty"
_PICTURED = "pond-piece"
#: After the last made field was cut.
PICTURED_ON = datetime.date(2025, 11, 1)


def printed(*words: str) -> str:
    """What the command prints to stdout."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = main(list(words))
    if code:
        raise RuntimeError(f"lossmap {' '.join(words)} ended with {code}")
    return out.getvalue().rstrip("\n")


def blocks() -> dict[str, str]:
    """Every block of README that a command makes."""
    with tempfile.TemporaryDirectory() as folder:
        line = printed("map", str(ROOT / "demo-fields" / _SHOWN), "--out", folder, "--quiet").replace(folder, "out")
        plan = printed("stops", str(ROOT / "demo-fields" / _SHOWN), "--out", folder, "--number", "12", "--quiet").replace(folder, "out")
        farm = printed("rank", str(ROOT / "demo-fields" / "made-farm"), "--on", "2025-09-25", "--out", folder, "--quiet").replace(
            folder, "out"
        )
        season = printed("season", str(ROOT / "demo-fields"), "--cores", "2", "--out", folder, "--quiet").replace(folder, "out")
    return {
        "season": f"```console\n$ lossmap season demo-fields --cores 2\n{season}\n```\n",
        "rank": f"```console\n$ lossmap rank demo-fields/made-farm --on 2025-09-25\n{farm}\n```\n",
        "stops": f"```console\n$ lossmap stops demo-fields/{_SHOWN} --number 12\n{plan}\n```\n",
        "map": f"```console\n$ lossmap map demo-fields/{_SHOWN}\n{line}\n```\n",
        "check": f"```console\n$ lossmap check demo-fields/{_SHOWN}\n{printed('check', str(ROOT / 'demo-fields' / _SHOWN))}\n```\n",
        "settings": f"```toml\n{printed('settings')}\n```\n",
    }


def renewed(text: str) -> str:
    """README with every block made anew."""
    made = blocks()
    return _BLOCK.sub(lambda match: match[1] + made[match[2]] + match[4], text)


def example(text: str) -> str:
    """The notebook example of README as a script."""
    return text.split("<!-- example: stages -->\n```python\n")[1].split("```")[0]


def pictures() -> None:
    """The pictures of both READMEs, from the pages themselves in headless Chromium."""
    fields, price = ROOT / "demo-fields", 'report.price="11.00 USD/bu"'
    with tempfile.TemporaryDirectory() as folder:
        printed("season", str(fields), "--out", folder, "--quiet")
        printed("stops", str(fields / _PICTURED), "--out", folder, "--quiet")
        printed("rank", str(fields / "made-farm"), "--on", "2025-09-25", "--out", folder, "--quiet")
        season = Path(folder) / fields.name
        _picture((season / _PICTURED / "map.html").as_uri(), (1200, 860), f"{_PICTURED}-map.png")
        _picture((season / _SHOWN / "map.html").as_uri(), (500, 1000), f"{_SHOWN}-phone.png")
        _of_no_day(season / "season.html")
        _picture((season / "season.html").as_uri(), (1200, 1250), "season.png")
        _picture((Path(folder) / "made-farm" / "ranking.html").as_uri(), (1200, 1250), "ranking.png")
        _picture(f"{(Path(folder) / _PICTURED / 'count-sheet.html').as_uri()}#stop=P1", (500, 1000), "count-sheet.png")
        printed("map", str(fields / _PICTURED), "--out", folder, "--set", price, "--quiet")
        _picture((Path(folder) / _PICTURED / "report.html").as_uri(), (1200, 1250), f"{_PICTURED}-report.png")


def _of_no_day(page: Path) -> None:
    """A page that says when it was made, as if made on a day of its own: its picture would change each day."""
    # not above: numpy must not be loaded before the command has said how many threads it may have
    from lossmap.report.words import day_of

    today = f"made {day_of(datetime.date.today())}"
    text = page.read_text(encoding="utf-8")
    if today not in text:
        raise RuntimeError(f"{page.name} does not say {today}")
    page.write_text(text.replace(today, f"made {day_of(PICTURED_ON)}"), encoding="utf-8")


def _picture(address: str, size: tuple[int, int], name: str) -> None:
    file = ROOT / "shared" / "pictures" / name
    with tempfile.TemporaryDirectory() as profile:
        command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars"]
        command += ["--disable-background-networking", "--disable-component-update", "--disable-sync", f"--user-data-dir={profile}"]
        command += [f"--window-size={size[0]},{size[1]}", "--virtual-time-budget=4000"]
        command += [f"--screenshot={file}", address]
        subprocess.run(command, check=True, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    # the pages are flat colours: a palette takes a third of the bytes
    with Image.open(file) as picture:
        picture.convert("RGB").quantize(64).save(file, optimize=True)


if __name__ == "__main__":
    readme = ROOT / "README.md"
    readme.write_text(renewed(readme.read_text()))
    if "--pictures" in sys.argv:
        pictures()
