"""A real headless Chromium for the tests of the page, driven through WebDriver (W3C) and its DevTools commands."""

from __future__ import annotations

import base64
import json
import os
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

FLAGS = (
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
)


class Browser:
    """One browser with an empty profile. Close it with `close()`."""

    def __init__(self, folder: Path) -> None:
        options = webdriver.ChromeOptions()
        options.binary_location = "/usr/bin/chromium"
        for flag in (*FLAGS, f"--user-data-dir={folder}", *(("--no-sandbox",) if os.getuid() == 0 else ())):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))

    def close(self) -> None:
        """End the browser."""
        self.driver.quit()

    def open(self, page: Path, width: int = 1200, height: int = 900, dark: bool = False, at: str = "") -> None:
        """Show a file at a width in CSS pixels."""
        self.size(width, height)
        feature = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.command("Emulation.setEmulatedMedia", features=[feature])
        self.driver.get("about:blank")
        self.driver.get(page.as_uri() + at)

    def size(self, width: int, height: int) -> None:
        """Give the window a size in CSS pixels."""
        mobile = width < 600
        self.command(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=mobile
        )

    def command(self, name: str, **arguments: Any) -> dict[str, Any]:
        """One DevTools command."""
        return dict(self.driver.execute_cdp_cmd(name, arguments))

    def script(self, text: str, *arguments: Any) -> Any:
        """Run script text in the page; `return` gives its value."""
        return self.driver.execute_script(text, *arguments)

    def picture(self, to: Path, whole: bool = False) -> None:
        """A PNG of what is seen, or of the whole page."""
        shot = self.command("Page.captureScreenshot", captureBeyondViewport=whole)
        to.write_bytes(base64.b64decode(shot["data"]))

    def printed(self, to: Path) -> None:
        """The page as PDF, the paper size being its own (A4)."""
        made = self.command("Page.printToPDF", preferCSSPageSize=True, printBackground=False)
        to.write_bytes(base64.b64decode(made["data"]))

    def requests(self) -> list[str]:
        """Addresses asked for since the last call, in order."""
        events = [json.loads(entry["message"])["message"] for entry in self.driver.get_log("performance")]
        return [one["params"]["request"]["url"] for one in events if one["method"] == "Network.requestWillBeSent"]

    def complaints(self) -> list[str]:
        """What the console said since the last call."""
        return [entry["message"] for entry in self.driver.get_log("browser")]
