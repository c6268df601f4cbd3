"""A real Chromium without a window, driven over the DevTools protocol on two pipes: no port is opened.

The protocol: https://chromedevtools.github.io/devtools-protocol/ (JSON messages, each ended by a zero byte, when
started with --remote-debugging-pipe: commands on descriptor 3, answers and events on descriptor 4).
"""

from __future__ import annotations

import base64
import contextlib
import json
import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

__all__ = ["Browser", "Page", "chromium"]

_DEADLINE_S = 60.0
_NAMES = ("chromium", "chromium-browser", "google-chrome")


class Browser:
    """One running Chromium."""

    def __init__(self, program: str, profile: Path) -> None:
        commands, self._commands = os.pipe()
        self._answers, answers = os.pipe()
        # Some shells cannot name a descriptor above 9: these two go to 3 and 4 by way of the child's own dup2.
        script = f'exec 3<&{commands} 4>&{answers}; exec "$@"'
        self._process = subprocess.Popen(
            [
                *("bash", "-c", script, "bash", program),
                *("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"),
                *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
                *("--hide-scrollbars", "--force-device-scale-factor=1", f"--user-data-dir={profile}"),
                *("--remote-debugging-pipe", "about:blank"),
            ],
            pass_fds=(commands, answers),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(commands)
        os.close(answers)
        self._number = 0
        self._unread = b""
        self.events: list[dict[str, Any]] = []

    def call(self, method: str, session: str | None = None, **params: Any) -> dict[str, Any]:
        """One command and its answer; events that come meanwhile are kept in `events`."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": params}
        if session is not None:
            message["sessionId"] = session
        os.write(self._commands, json.dumps(message).encode() + b"\0")
        until_s = time.monotonic() + _DEADLINE_S
        while (found := self._next(until_s)).get("id") != self._number:
            self.events.append(found)
        if "error" in found:
            raise AssertionError(f"{method}: {found['error']}")
        result: dict[str, Any] = found["result"]
        return result

    def wait_for(self, method: str, session: str) -> None:
        """Until that event has come."""
        until_s = time.monotonic() + _DEADLINE_S
        while not any(event["method"] == method and event.get("sessionId") == session for event in self.events):
            self.events.append(self._next(until_s))

    def page(self) -> Page:
        """A new page that is offline from the start."""
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        return Page(self, self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"])

    def end(self) -> None:
        """Close it, and make sure that it is gone."""
        with contextlib.suppress(AssertionError, OSError):
            self.call("Browser.close")
        try:
            self._process.wait(10.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._commands)
        os.close(self._answers)

    def _next(self, until_s: float) -> dict[str, Any]:
        while b"\0" not in self._unread:
            ready, _, _ = select.select([self._answers], [], [], max(0.0, until_s - time.monotonic()))
            part = os.read(self._answers, 1 << 20) if ready else b""
            if not part:
                raise AssertionError("Chromium does not answer" if not ready else "Chromium has ended")
            self._unread += part
        message, _, self._unread = self._unread.partition(b"\0")
        found: dict[str, Any] = json.loads(message)
        return found


class Page:
    """One page of it, without a network: whatever is asked for beyond the file itself is seen in `requested`."""

    def __init__(self, browser: Browser, session: str) -> None:
        self._browser = browser
        self._session = session
        for domain in ("Page", "Network", "Runtime", "Log", "Accessibility", "DOM"):
            self.call(f"{domain}.enable")
        self.call("Network.setCacheDisabled", cacheDisabled=True)
        self.online(False)

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        return self._browser.call(method, self._session, **params)

    def open(self, file: Path, wide: int = 360, high: int = 800, scheme: str = "light") -> None:
        """Load a file in a window of that size, for a keeper who likes it light or dark."""
        size = {"width": wide, "height": high, "deviceScaleFactor": 1}
        self.call("Emulation.setDeviceMetricsOverride", mobile=wide < 700, **size)
        self.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        self.open_address(file.as_uri())

    def online(self, yes: bool) -> None:
        """Give it the network of this machine, or take it away again."""
        rates = {"latency": 0, "downloadThroughput": -1 if yes else 0, "uploadThroughput": -1 if yes else 0}
        self.call("Network.emulateNetworkConditions", offline=not yes, **rates)

    def open_address(self, address: str) -> None:
        """Load what a server has there, in the window as it is."""
        self._browser.events.clear()
        self.call("Page.navigate", url=address)
        self._browser.wait_for("Page.loadEventFired", self._session)

    def follow(self, script: str) -> None:
        """Click the link that a JavaScript expression names, and wait for where it leads."""
        self._browser.events.clear()
        self.evaluate(f"{script}.click()")
        self._browser.wait_for("Page.loadEventFired", self._session)

    def evaluate(self, script: str) -> Any:
        """The value of a JavaScript expression in the page."""
        found = self.call("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def requested(self) -> list[str]:
        """Every address that was asked for since the page was opened."""
        return [event["params"]["request"]["url"] for event in self._heard("Network.requestWillBeSent")]

    def complaints(self) -> list[str]:
        """What stands in the console: errors, warnings, anything."""
        self.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(1))))")
        told = ("Log.entryAdded", "Runtime.consoleAPICalled", "Runtime.exceptionThrown")
        return [json.dumps(event["params"]) for method in told for event in self._heard(method)]

    def press_tab(self) -> None:
        """As on a keyboard."""
        key = {"key": "Tab", "code": "Tab", "windowsVirtualKeyCode": 9}
        self.call("Input.dispatchKeyEvent", type="keyDown", **key)
        self.call("Input.dispatchKeyEvent", type="keyUp", **key)

    def accessible(self) -> list[dict[str, Any]]:
        """What a screen reader is given: the nodes that are not ignored."""
        nodes: list[dict[str, Any]] = self.call("Accessibility.getFullAXTree")["nodes"]
        return [node for node in nodes if not node["ignored"]]

    def picture(self, file: Path, whole: bool = False) -> None:
        """A screenshot: of the window, or of the whole page."""
        params: dict[str, Any] = {"captureBeyondViewport": whole}
        if whole:
            size = self.call("Page.getLayoutMetrics")["cssContentSize"]
            params["clip"] = {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}
        file.write_bytes(base64.b64decode(self.call("Page.captureScreenshot", format="png", **params)["data"]))

    def _heard(self, method: str) -> list[dict[str, Any]]:
        return [e for e in self._browser.events if e["method"] == method and e.get("sessionId") == self._session]


@contextlib.contextmanager
def chromium(profile: Path) -> Iterator[Browser]:
    """A running Chromium. Where there is none the test is skipped; on the machine that must have it, it fails."""
    program = next((found for name in _NAMES if (found := shutil.which(name))), None)
    if program is None:
        if os.environ.get("CI") == "true":
            pytest.fail("there is no Chromium here: .ci/run installs it")
        pytest.skip("there is no Chromium here")
    browser = Browser(program, profile)
    try:
        yield browser
    finally:
        browser.end()
