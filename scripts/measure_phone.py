"""How heavy is the phone page, how soon is it seen, and what does recording take in taps?

    python3 scripts/measure_phone.py      in Chromium, on a book with one set; also a part of measure.py web

``weight`` is what comes over the link for a page that nobody looked at before, script and style included.
First paint is that of the first contentful paint, as a ratio to a page with one word in the same browser; the
second column has a processor four times slower, 1.6 Mbit/s and 150 ms to the book (a poor mobile link).
Nothing is measured, and it is said why, where Chromium or a package is missing.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
from importlib import import_module
from pathlib import Path
from typing import Any

from measure import table
from thumb import ARGS, SCREEN, chromium, known_panel, unknown_panel

NORWELL = {
    "date": "2026-03-04",
    "basis": "tested",
    "source": {"make": "Norwell", "model": "NV40-210", "year": 2014, "display": "flat"},
    "jacks": [
        {"form": "toslink", "marking": "DIGITAL AUDIO OUT", "speakers": "stay-on", "outcome": "carried"},
        {"form": "rca-pair", "marking": "AUDIO"},
        {"form": "jack-3.5", "marking": "HEADPHONE", "speakers": "mute"},
    ],
}
OF_SET = "make=Norwell&model=NV40-210"
PAGES = ("/", f"/set?{OF_SET}", f"/record?{OF_SET}", "/today", "/bring", f"/path?{OF_SET}", "/isolate")
MORE = (f"/isolate?complaint=no-sound&{OF_SET}", f"/hand-over?{OF_SET}", "/waiting", "/phone", "/tones")
TIMES = 5
POOR = {"offline": False, "latency": 150, "downloadThroughput": 200_000, "uploadThroughput": 200_000}
PAINT = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime"
WEIGHT = """[...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
    .reduce((sum, one) => [sum[0] + one.transferSize, sum[1] + 1], [0, 0])"""


def main() -> int:
    if why := missing():
        print(f"\nThe page in a browser was not measured: {why}")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        token = written(home)
        command = [sys.executable, "-m", "kb.cli.main", "serve", "--port", "0", "--json"]
        env = {**os.environ, "JACKFIELD_HOME": folder}
        server = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            seen(json.loads(server.stdout.readline())["url"].split("/pair")[0].rstrip("/"), token, home)
        finally:
            server.terminate()
            server.wait(30)
    return 0


def missing() -> str:
    """What is not on this machine; "" if everything is."""
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "the package playwright is not installed"
    return "" if chromium() else "there is no chromium: apt-get install chromium"


def written(home: Path) -> str:
    """A book with a set and today's job, and the token of a phone that is paired with it."""
    from kb.base import clock
    from kb.book import Book
    from kb.domain.job import job_from
    from kb.domain.visit import visit_from
    from kb.web.pairing import Phones

    with Book.open(home) as book:
        book.record([visit_from(NORWELL)])
        book.find("norwell")
        job = {"make": "Norwell", "model": "NV40-210", "inputs": ["line-3.5"], "day": str(clock.today())}
        book.jobs.add([job_from(job)])
    phones = Phones(home / "phones.json", lambda code: None)
    token = phones.pair(phones.offered())
    assert token
    return token


def seen(base: str, token: str, home: Path) -> None:
    """Print weight and first paint of the pages, taps and characters, and what axe-core finds."""
    from playwright.sync_api import sync_playwright

    photo = home / "panel.png"
    picture(photo)
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium(), args=list(ARGS))

        size: Any = {**SCREEN}

        def phone() -> Any:
            context = browser.new_context(viewport=size, is_mobile=True, has_touch=True)
            context.add_cookies([{"name": "jackfield", "value": token, "url": base}])
            page = context.new_page()
            page.set_default_timeout(30_000)
            return page

        rows: list[tuple[str, ...]] = [("page", "weight", "requests", "paint", "poor link", "axe-core")]
        plain = {
            poor: statistics.median(painted(phone(), "", poor)[0] for _ in range(TIMES))
            for poor in (False, True)
        }
        for path in (*PAGES, *MORE):
            ratios, weight = [], (0, 0)
            for poor in (False, True):
                every = [painted(phone(), base + path, poor) for _ in range(TIMES if path in PAGES else 1)]
                ratios.append(statistics.median(paint for paint, _ in every) / plain[poor])
                weight = every[0][1]
            page = phone()
            page.goto(base + path)
            name = path.replace(OF_SET, "...")
            kb = f"{weight[0] / 1024:.0f} KB"
            rows.append((name, kb, str(weight[1]), *(f"{one:.1f}" for one in ratios), findings(page)))
            page.context.close()
        table(
            f"pages; a page with one word is painted after {plain[False]:.0f} and {plain[True]:.0f} ms", rows
        )
        counts = [("recording", "taps", "characters")]
        for what in ("a known panel with photo", "an unknown panel of three jacks"):
            page = phone()
            page.goto(f"{base}/")
            thumb = known_panel(page, photo) if "photo" in what else unknown_panel(page)
            counts.append((what, str(thumb.taps), str(thumb.typed)))
            page.context.close()
        table("taps from the first page to a recorded visit", counts)
        browser.close()


def painted(page: Any, address: str, poor: bool) -> tuple[float, tuple[int, int]]:
    """Milliseconds to the first contentful paint of a page in a new browser; its bytes and its requests."""
    if poor:
        tools = page.context.new_cdp_session(page)
        tools.send("Emulation.setCPUThrottlingRate", {"rate": 4})
        tools.send("Network.enable")
        tools.send("Network.emulateNetworkConditions", POOR)
    page.goto(address or "data:text/html,<p>word", wait_until="load")
    paint = None
    while not paint:
        page.wait_for_timeout(50)
        paint = page.evaluate(PAINT)
    size, count = page.evaluate(WEIGHT) if address else (0, 0)
    page.context.close()
    return float(paint), (int(size), int(count))


def findings(page: Any) -> str:
    """How many rules of axe-core a page breaks, however light; why not if it is not installed."""
    try:
        axe = import_module("axe_playwright_python.sync_playwright").Axe()
    except ImportError:
        return "not installed"
    broken = axe.run(page).response["violations"]
    return ", ".join(one["id"] for one in broken) or "0"


def picture(file: Path) -> None:
    """A picture as large as phones make them, saved as PNG."""
    from PIL import Image

    Image.effect_noise((1600, 1200), 40).convert("RGB").save(file)


if __name__ == "__main__":
    sys.exit(main())
