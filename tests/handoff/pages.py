"""Turns sheets into pages as a reader would see them, and says where on each page which words stand."""

from __future__ import annotations

import atexit
import base64
import fcntl
import json
import os
import re
import subprocess
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

HERE = Path(__file__).parent / "accessibility"
CHROMIUM = [
    "chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run",
]  # fmt: skip


@dataclass(frozen=True)
class Word:
    """A word on a page; ``top`` and ``bottom`` in points from the page's top, ``left`` and ``right`` from its left."""

    text: str
    page: int
    top: float
    bottom: float
    left: float
    right: float


@dataclass(frozen=True)
class Pages:
    count: int
    width: float
    height: float
    words: tuple[Word, ...]

    def rows(self, page: int) -> list[str]:
        """Return the text of a page in rows, words of one height joined."""
        rows: dict[int, list[Word]] = {}
        for word in self.words:
            if word.page == page:
                rows.setdefault(round(word.bottom), []).append(word)
        return [" ".join(w.text for w in sorted(rows[at], key=lambda w: w.left)) for at in sorted(rows)]


def run(command: list[str], cwd: Path) -> None:
    done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, check=False, timeout=180)
    assert done.returncode == 0, f"{command[0]} failed:\n{done.stdout}{done.stderr}"


def docx_to_pdf(paths: list[Path]) -> list[Path]:
    """Convert files of one folder in one go: starting the office takes longer than printing."""
    folder = paths[0].parent
    profile = f"-env:UserInstallation=file://{folder / 'office'}"
    run(["soffice", "--headless", profile, "--convert-to", "pdf", *(path.name for path in paths)], folder)
    return [path.with_suffix(".pdf") for path in paths]


def html_to_pdf(path: Path) -> Path:
    pdf = path.with_name(f"{path.stem}-html.pdf")
    browser = browsing()
    browser.open(path)
    printed = browser.ask("Page.printToPDF", printBackground=True, preferCSSPageSize=True)
    pdf.write_bytes(base64.b64decode(printed["data"]))
    return pdf


class Browser:
    """One Chromium for every page, asked in its own protocol over a pipe: a start costs more than ten pages."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="browser-")
        ours, theirs = zip(*(os.pipe()[:: 1 if to_us else -1] for to_us in (False, True)), strict=True)
        high = [fcntl.fcntl(end, fcntl.F_DUPFD, 10) for end in theirs]  # 3 and 4 are where it listens and speaks

        def at_three_and_four() -> None:
            for number, end in enumerate(high, 3):
                os.dup2(end, number)

        self._process = subprocess.Popen(
            [*CHROMIUM, f"--user-data-dir={self._folder.name}", "--remote-debugging-pipe", "about:blank"],
            preexec_fn=at_three_and_four, pass_fds=(3, 4), stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for end in (*theirs, *high):
            os.close(end)
        self._to, self._from = os.fdopen(ours[0], "wb"), os.fdopen(ours[1], "rb")
        self._asked, self._session, self._loaded, self._rest = 0, "", False, b""
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        self.ask("Page.enable")
        self.ask("Page.setBypassCSP", enabled=True)

    def ask(self, method: str, **parameters: Any) -> Any:
        self._asked += 1
        session = {"sessionId": self._session} if self._session else {}
        question = {"id": self._asked, "method": method, "params": parameters, **session}
        self._to.write(json.dumps(question).encode() + b"\0")
        self._to.flush()
        while (answer := self._next()).get("id") != self._asked:
            pass
        assert "error" not in answer, answer
        return answer["result"]

    def open(self, path: Path) -> None:
        self._loaded = False
        self.ask("Page.navigate", url=path.as_uri())
        while not self._loaded:
            self._next()

    def _next(self) -> Any:
        while b"\0" not in self._rest:
            more = os.read(self._from.fileno(), 1 << 20)
            assert more, "the browser ended"
            self._rest += more
        row, _, self._rest = self._rest.partition(b"\0")
        said = json.loads(row)
        self._loaded |= said.get("method") == "Page.loadEventFired"
        return said

    def close(self) -> None:
        self._session = ""
        self.ask("Browser.close")
        self._process.wait(60)
        self._to.close()
        self._from.close()
        self._folder.cleanup()


@cache
def browsing() -> Browser:
    browser = Browser()
    atexit.register(browser.close)
    return browser


def read_pdf(path: Path) -> Pages:
    boxes = path.with_suffix(".xml")
    run(["pdftotext", "-raw", "-bbox", path.name, boxes.name], path.parent)
    tree = ElementTree.fromstring(re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "", boxes.read_text("utf-8")))
    pages = tree.findall(".//{*}page")
    words = tuple(
        Word(word.text or "", number, *(float(word.attrib[key]) for key in ("yMin", "yMax", "xMin", "xMax")))
        for number, page in enumerate(pages, 1)
        for word in page.findall("{*}word")
    )
    return Pages(len(pages), float(pages[0].attrib["width"]), float(pages[0].attrib["height"]), words)


def colours(pdf: Path) -> set[tuple[int, int, int]]:
    """Return every colour that appears on the pages of a PDF, drawn at 40 dots to the inch."""
    run(["pdftoppm", "-r", "40", pdf.name, f"{pdf.stem}-dots"], pdf.parent)
    found: set[tuple[int, int, int]] = set()
    for image in pdf.parent.glob(f"{pdf.stem}-dots*.ppm"):
        raw = image.read_bytes()
        dots = raw[re.match(rb"P6\s+\d+\s+\d+\s+255\s", raw).end() :]  # type: ignore[union-attr]  # not None here
        found.update(zip(dots[::3], dots[1::3], dots[2::3], strict=True))
    return found


def axe() -> str:
    """Return the checker's source, brought by npm on first use and pinned by the lock file."""
    source = HERE / "node_modules" / "axe-core" / "axe.min.js"
    with (HERE / ".lock").open("w") as lock:  # test workers share the folder
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not source.exists():
            run(["npm", "ci", "--silent", "--no-audit", "--no-fund"], HERE)
    return source.read_text("utf-8")


POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')


def violations(page: str, folder: Path, width: int = 800) -> list[dict[str, Any]]:
    """Return what the checker holds against a page in a real browser; an empty list means nothing."""
    result = in_browser(
        page,
        f"{axe()}; axe.run({{resultTypes: ['violations', 'passes']}}).then(found => "
        "({violations: found.violations, passes: found.passes.length}))",
        folder,
        width,
    )
    assert result["passes"] > 10, "the checker looked at next to nothing"
    listed: list[dict[str, Any]] = result["violations"]
    return listed


WORDS = """(() => {
const cut = [], beyond = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), range = new Range();
let words = 0;
while (walk.nextNode()) {
  const node = walk.currentNode;
  if (node.parentElement.closest("script, style, thead")) continue;
  for (const found of node.data.matchAll(/[^\\s-]+-?/g)) {
    range.setStart(node, found.index);
    range.setEnd(node, found.index + found[0].length);
    const boxes = [...range.getClientRects()];
    words += 1;
    if (new Set(boxes.map(box => Math.round(box.top))).size > 1) cut.push(found[0]);
    if (boxes.some(box => box.right > innerWidth)) beyond.push(found[0]);
  }
}
return {words, cut, beyond};
})()"""


def words_cut(page: str, folder: Path, width: int) -> list[str]:
    """Return the words that a browser of that width breaks, or draws beyond its edge."""
    result = in_browser(page, WORDS, folder, width)
    assert result["words"] > 50
    return [*result["cut"], *result["beyond"]]


def in_browser(page: str, script: str, folder: Path, width: int) -> Any:
    """Return what ``script`` gives in a window of that width. The page itself forbids scripts; the tests may ask."""
    assert len(POLICY.findall(page)) == 1, "the page no longer forbids scripts, or says so otherwise"
    path = folder / "checked.html"
    path.write_text(page, "utf-8")
    browser = browsing()
    browser.ask("Emulation.setDeviceMetricsOverride", width=width, height=900, deviceScaleFactor=1, mobile=False)
    browser.open(path)
    found = browser.ask("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
    browser.ask("Emulation.clearDeviceMetricsOverride")
    assert "exceptionDetails" not in found, found
    return found["result"]["value"]
