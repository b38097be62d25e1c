"""A headless browser for the pages' tests, driven through its own protocol."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By

#: The accessibility checker; and rules that a page of ours gives it to check, at the least: with fewer it did not see the page.
AXE = resources.files("selenium_axe_python").joinpath("axe-core").joinpath("axe.min.js")
MANY_RULES = 15

CHROMIUM, DRIVER = Path("/usr/bin/chromium"), Path("/usr/bin/chromedriver")

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--hide-scrollbars",
    "--window-size=1280,800",
)


class Browser:
    """One page at a time: open it, look at it, press things, and hear what it asked for."""

    def __init__(self, profile: Path) -> None:
        os.environ["SE_OFFLINE"] = "true"
        options = webdriver.ChromeOptions()
        options.binary_location = str(CHROMIUM)
        options.page_load_strategy = "none"
        for flag in (*FLAGS, f"--user-data-dir={profile}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=Service(str(DRIVER)))

    def quit(self) -> None:
        """End the browser."""
        self.driver.quit()

    def protocol(self, command: str, **values: Any) -> dict[str, Any]:
        """One command of the browser's own protocol."""
        return self.driver.execute_cdp_cmd(command, values)

    def run(self, script: str, *values: Any) -> Any:
        """Run a script in the page and give back what it returns."""
        return self.driver.execute_script(script, *values)

    def size(self, width: int, height: int, touch: bool = False) -> None:
        """The window, as a desk's or a phone's."""
        self.protocol("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=touch)

    def open(self, path: Path, wait: str = "document.documentElement.dataset.ready === 'yes'", seconds: float = 20.0) -> None:
        """Open a file and wait until the page says that it is ready."""
        self.driver.get("about:blank")
        self.driver.get_log("browser")
        self.driver.get_log("performance")
        self.driver.get(path.as_uri())
        # location first: until the old page is gone its own readiness would be read
        self.until(f"location.href !== 'about:blank' && document.readyState === 'complete' && ({wait})", seconds)

    def until(self, condition: str, seconds: float = 20.0) -> None:
        """Wait for a condition in the page."""
        end = time.monotonic() + seconds
        while not self.run(f"return Boolean({condition})"):
            assert time.monotonic() < end, f"never true: {condition}"
            time.sleep(0.03)

    def complaints(self) -> list[str]:
        """Everything the console holds: errors, warnings, breaches of the security policy."""
        return [f"{entry['level']}: {entry['message']}" for entry in self.driver.get_log("browser")]

    def requests(self) -> list[str]:
        """Every address the page asked for, but its own file and what it carries inside."""
        events = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        asked = [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]
        return [url for url in asked if not url.startswith(("data:", "blob:", "about:"))]

    def violations(self) -> list[str]:
        """What axe-core has against the page as it stands: rules of WCAG 2.0 to 2.2, A and AA, and best practice."""
        self.run(AXE.read_text(encoding="utf-8"))
        self.driver.set_script_timeout(60)
        found = self.driver.execute_async_script(
            "const done = arguments[arguments.length - 1];"
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})"
            ".then(done, fault => done({fault: String(fault)}))"
        )
        assert "fault" not in found, found["fault"]
        assert len(found["passes"]) > MANY_RULES
        return [f"{rule['id']}: {node['html']}" for rule in found["violations"] for node in rule["nodes"]]

    def pixels(self) -> np.ndarray:
        """What is on the screen, ``[row, col, rgb]``."""
        content = base64.b64decode(self.protocol("Page.captureScreenshot", format="png")["data"])
        return np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))

    def tap(self, x: float, y: float) -> None:
        """Press and let go at a place of the window."""
        for kind in ("mousePressed", "mouseReleased"):
            self.protocol("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def press(self, key: str, code: int) -> None:
        """Press a key where the focus is."""
        for kind in ("rawKeyDown", "keyUp"):
            self.protocol("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code)

    def type(self, selector: str, text: str) -> None:
        """Type into a field as a person does, whatever stood in it."""
        field = self.driver.find_element(By.CSS_SELECTOR, selector)
        field.clear()
        field.send_keys(text)

    def keys(self, *keys: str) -> None:
        """Keys, to whatever has the focus."""
        self.driver.switch_to.active_element.send_keys(*keys)

    def downloads(self, folder: Path) -> None:
        """Where files go that the page hands out."""
        self.protocol("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(folder))

    def downloaded(self, folder: Path, seconds: float = 10.0) -> Path:
        """The one file that came down, once it is whole."""
        end = time.monotonic() + seconds
        while not (found := [path for path in folder.iterdir() if path.suffix == ".csv"]):
            assert time.monotonic() < end, "nothing came down"
            time.sleep(0.03)
        assert len(found) == 1
        return found[0]

    def place(self, latitude: float, longitude: float, accuracy: float) -> None:
        """Where the device thinks that it is."""
        self.protocol("Emulation.setGeolocationOverride", latitude=latitude, longitude=longitude, accuracy=accuracy)

    def may_know_its_place(self, allowed: bool) -> None:
        """What the person answers when the page asks for the position."""
        self.protocol("Browser.setPermission", permission={"name": "geolocation"}, setting="granted" if allowed else "denied")

    def pages(self, width_in: float, height_in: float) -> int:
        """How many sheets the page prints on."""
        content = base64.b64decode(self.protocol("Page.printToPDF", paperWidth=width_in, paperHeight=height_in)["data"])
        return len(re.findall(rb"/Type\s*/Page[^s]", content))

    @contextmanager
    def without_scripts(self) -> Iterator[None]:
        """As a mail's or a phone's preview shows it."""
        self.protocol("Emulation.setScriptExecutionDisabled", value=True)
        try:
            yield
        finally:
            self.protocol("Emulation.setScriptExecutionDisabled", value=False)

    @contextmanager
    def before_page(self, script: str) -> Iterator[None]:
        """Run a script in every page opened meanwhile, before its own."""
        found = self.protocol("Page.addScriptToEvaluateOnNewDocument", source=script)["identifier"]
        try:
            yield
        finally:
            self.protocol("Page.removeScriptToEvaluateOnNewDocument", identifier=found)
