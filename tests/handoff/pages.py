"""Turns sheets into pages as a reader would see them, and says where on each page which words stand."""

from __future__ import annotations

import fcntl
import json
import re
import subprocess
from dataclasses import dataclass
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
    profile = f"--user-data-dir={path.parent / 'browser'}"
    run([*CHROMIUM, profile, "--no-pdf-header-footer", f"--print-to-pdf={pdf.name}", path.as_uri()], path.parent)
    return pdf


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
        dots = raw[re.match(rb"P6\s+\d+\s+\d+\s+255\s", raw).end() :]  # type: ignore[union-attr]
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
        f"<script>{axe()}</script><script>axe.run({{resultTypes: ['violations', 'passes']}}).then(found => "
        "report({violations: found.violations, passes: found.passes.length}));</script>",
        folder,
        width,
    )
    assert result["passes"] > 10, "the checker looked at next to nothing"
    listed: list[dict[str, Any]] = result["violations"]
    return listed


WORDS = """<script>
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
report({words, cut, beyond});
</script>"""


def words_cut(page: str, folder: Path, width: int) -> list[str]:
    """Return the words that a browser of that width breaks, or draws beyond its edge."""
    result = in_browser(page, WORDS, folder, width)
    assert result["words"] > 50
    return [*result["cut"], *result["beyond"]]


def in_browser(page: str, script: str, folder: Path, width: int) -> Any:
    """Return what ``script`` gives to ``report``, a function that every page has here.

    The page forbids scripts, so it runs in a copy without that one row.
    """
    assert len(POLICY.findall(page)) == 1, "the page no longer forbids scripts, or says so otherwise"
    script = (
        "<script>const report = found => { const out = document.createElement('pre'); out.id = 'found';"
        f"out.textContent = JSON.stringify(found); document.body.appendChild(out); }};</script>{script}"
    )
    path = folder / "checked.html"
    path.write_text(POLICY.sub("", page).replace("</body>", f"{script}</body>"), "utf-8")
    command = [
        *CHROMIUM,
        f"--user-data-dir={folder / 'browser'}",
        f"--window-size={width},900",
        "--virtual-time-budget=20000",
        "--dump-dom",
        path.as_uri(),
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=180)
    found = re.search(r'<pre id="found">(.*?)</pre>', done.stdout, re.S)
    assert found, f"the checker did not finish:\n{done.stderr[-2000:]}"
    from html import unescape

    return json.loads(unescape(found[1]))
