"""A headless browser for the tests of pages: Debian's chromium, spoken to over two pipes in its own protocol."""

from __future__ import annotations

import base64
import fcntl
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Any

PROGRAM = "chromium"
# It runs nothing but our own pages, so that it needs no sandbox, which it cannot have everywhere.
OPTIONS = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--remote-debugging-pipe"]
MIDDLE = """selector => {
  const one = document.querySelector(selector);
  one.scrollIntoView({ block: "nearest", inline: "nearest" });
  const at = one.getBoundingClientRect();
  return [at.x + at.width / 2, at.y + at.height / 2];
}"""
PATIENCE = 120  # seconds for an answer, on a machine with much else to do


class Browser:
    """One page in a browser: `with Browser() as browser: browser.open(path)`."""

    def __init__(self) -> None:
        program = shutil.which(PROGRAM)
        assert program, f"the tests need {PROGRAM}; `python -m tests --tools` installs it"
        self.home = tempfile.mkdtemp(prefix="xasm-browser-")
        commands, self._to = os.pipe()
        self._from, answers = os.pipe()
        # not among the two numbers that they are to have
        theirs = [fcntl.fcntl(end, fcntl.F_DUPFD, 10) for end in (commands, answers)]
        arguments = [program, *OPTIONS, f"--user-data-dir={self.home}", "about:blank"]
        self._process = subprocess.Popen(
            arguments,
            preexec_fn=lambda: [os.dup2(end, number) for number, end in enumerate(theirs, 3)],  # type: ignore[arg-type,return-value]
            close_fds=False,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for end in (commands, answers, *theirs):
            os.close(end)
        self._rest = b""
        self._number = 0
        self._session = ""
        self.events: list[dict[str, Any]] = []
        page = next(one for one in self.call("Target.getTargets")["targetInfos"] if one["type"] == "page")
        self._session = self.call("Target.attachToTarget", targetId=page["targetId"], flatten=True)["sessionId"]
        for room in ("Page", "Runtime", "Network", "Log"):
            self.call(f"{room}.enable")

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._process.kill()
        self._process.wait()
        os.close(self._to)
        os.close(self._from)
        shutil.rmtree(self.home, ignore_errors=True)

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Sends a command and returns its result; what the browser tells meanwhile goes to `events`."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._to, data) :]
        while True:
            answer = self._read()
            if answer.get("id") == self._number:
                assert "error" not in answer, (method, answer["error"])
                result: dict[str, Any] = answer["result"]
                return result

    def _read(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            assert select.select([self._from], [], [], PATIENCE)[0], "the browser does not answer"
            data = os.read(self._from, 1 << 16)
            assert data, "the browser has gone"
            self._rest += data
        line, _, self._rest = self._rest.partition(b"\0")
        answer: dict[str, Any] = json.loads(line)
        if "method" in answer:
            self.events.append(answer)
        return answer

    def open(self, path: Path, width: int = 1400, height: int = 1000) -> None:
        """Shows a page; `events` are those since then."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.events.clear()
        self.call("Page.navigate", url=path.resolve().as_uri())
        while not any(event["method"] == "Page.loadEventFired" for event in self.events):
            self._read()

    def value(self, script: str) -> Any:
        """What a JavaScript expression is worth."""
        result = self.call("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in result, result
        return result["result"].get("value")

    def point(self, selector: str, click: bool = False) -> None:
        """Puts the pointer on the middle of the first such element, and clicks there if wanted."""
        x, y = self.value(f"({MIDDLE})({json.dumps(selector)})")
        self.call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
        if click:
            for kind in ("mousePressed", "mouseReleased"):
                self.call("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def key(self, name: str, code: int) -> None:
        """Presses a key, told by its name and its number in the events of browsers."""
        for kind in ("rawKeyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=name, windowsVirtualKeyCode=code)

    def prefer(self, media: str = "", scheme: str = "light") -> None:
        """Shows the page as on a light or dark screen, or with `media` "print" as on paper."""
        self.call("Emulation.setEmulatedMedia", media=media, features=[{"name": "prefers-color-scheme", "value": scheme}])

    def settle(self) -> None:
        """Waits until what was done is drawn."""
        self.call(
            "Runtime.evaluate", expression="new Promise(done => requestAnimationFrame(() => setTimeout(done, 50)))", awaitPromise=True
        )

    def pdf(self) -> bytes:
        """The page as it prints, on the paper that it asks for."""
        return base64.b64decode(self.call("Page.printToPDF", preferCSSPageSize=True, printBackground=True)["data"])

    def picture(self, path: Path) -> None:
        """What the window shows, as PNG; to look at."""
        time.sleep(0.1)
        path.write_bytes(base64.b64decode(self.call("Page.captureScreenshot")["data"]))
