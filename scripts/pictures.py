"""Make the pictures of the README from the tool's real output on the demo book, and the page's icons.

    python3 scripts/pictures.py

Needs the demo book that scripts/demo.py loads. The pictures of the sheet and of the phone page need Chromium,
and that of the sheet also pdftoppm (poppler); without these programs they stay as they are.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from thumb import chromium

from environment import ROOT, ready

PICTURES = ROOT / "data" / "pictures"
#: Name of the picture -> the command that it shows.
SHOWN = {"path": ["path", "Norwell", "NV40-210"]}
UNTIL = "\x1b[1mMind"  #: the heading before which such a picture ends
#: Name of the picture -> the command that writes it as SVG, at the option that names the file.
DRAWN = {
    "connection": ["path", "Norwell", "NV40-210", "--svg"],
    "tag": ["tag", "Norwell", "NV40-210", "--out"],
}
SHEET = ["sheet", "Norwell", "NV40-210", "--contact", "Oxmarle Loops, 555 0100", "--out"]
MOST_BYTES = 200_000  #: of a picture, so that the project stays small

# A frame of our own around the text: nothing is fetched from elsewhere, and the text stays text.
_FRAME = """<svg class="terminal" viewBox="0 0 {width} {terminal_height}" role="img"
 xmlns="http://www.w3.org/2000/svg">
<title>{title}</title>
<style>
.{unique_id}-matrix {{ font-family: ui-monospace, Menlo, Consolas, "DejaVu Sans Mono", monospace;
  font-size: {char_height}px; line-height: {line_height}px; font-variant-east-asian: full-width;
  white-space: pre; }}
{styles}
</style>
<defs><clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{width}" height="{terminal_height}" /></clipPath>{lines}</defs>
<rect fill="#16191d" width="100%" height="100%" rx="6"/>
<g transform="translate(10, 12)" clip-path="url(#{unique_id}-clip-terminal)">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g></g></svg>
"""


def main() -> int:
    python = ready("test")
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return subprocess.run([str(python), __file__]).returncode
    from rich.console import Console
    from rich.text import Text

    env = {**os.environ, "JACKFIELD_HOME": str(ROOT / "demo-book"), "FORCE_COLOR": "1", "COLUMNS": "80"}
    env.pop("NO_COLOR", None)
    PICTURES.mkdir(exist_ok=True)
    for name, words in SHOWN.items():
        done = subprocess.run(
            [sys.executable, "-m", "kb.cli.main", *words], env=env, capture_output=True, encoding="utf-8"
        )
        console = Console(record=True, width=80, file=open(os.devnull, "w"), color_system="truecolor")  # noqa: SIM115
        console.print(Text(f"$ jackfield {' '.join(words)}\n", style="bold"))
        console.print(Text.from_ansi(done.stdout.partition("\n\n" + UNTIL)[0]))
        title = f"jackfield {' '.join(words)}"
        frame = _FRAME.replace("{title}", title)  # the words above: no markup, no braces
        picture = console.export_svg(code_format=frame, unique_id=name)
        (PICTURES / f"{name}.svg").write_text(picture, encoding="utf-8")
        print(f"{PICTURES.name}/{name}.svg")
    env.pop("FORCE_COLOR")
    for name, words in DRAWN.items():
        subprocess.run(
            [sys.executable, "-m", "kb.cli.main", *words, str(PICTURES / f"{name}.svg")], env=env, check=True
        )
    icons()
    return sheet(env) or phone(env)


def icons() -> None:
    """The icon of the phone page as PNG, for home screens that take no SVG; they round its corners."""
    import resvg_py

    from kb.web.phone import ICONS

    static = ROOT / "kb" / "web" / "static"
    drawn = (static / "icon.svg").read_text(encoding="utf-8").replace('rx="12"', 'rx="0"')
    for size in ICONS:
        png = bytes(resvg_py.svg_to_bytes(svg_string=drawn, width=size, height=size))
        (static / f"icon-{size}.png").write_bytes(png)
        print(f"{static.name}/icon-{size}.png")


def phone(env: dict[str, str]) -> int:
    """The page of a set as a phone shows it, cut at the height of a screen."""
    browser_path = chromium()
    if not browser_path:
        print("phone.png: no Chromium here, the picture stays as it is")
        return 0
    from playwright.sync_api import sync_playwright

    command = [sys.executable, "-m", "kb.cli.main", "serve", "--json", "--port", "0"]
    with subprocess.Popen(command, env=env, stdout=subprocess.PIPE, encoding="utf-8") as server:
        try:
            assert server.stdout is not None
            told = json.loads(server.stdout.readline())
            with sync_playwright() as playing:
                browser = playing.chromium.launch(executable_path=browser_path, args=["--no-sandbox"])
                size = {"width": 390, "height": 844}
                page = browser.new_page(viewport=size, device_scale_factor=1.5)  # type: ignore[arg-type]
                page.goto(told["pair"])
                page.click("button[type=submit]")
                page.goto(f"{told['url'].rstrip('/')}/set?make=Norwell&model=NV40-210")
                page.screenshot(path=str(PICTURES / "phone.png"))
                browser.close()
        finally:
            server.terminate()
    if (bytes_ := (PICTURES / "phone.png").stat().st_size) > MOST_BYTES:
        print(f"phone.png: {bytes_} bytes, more than {MOST_BYTES}")
        return 1
    print(f"{PICTURES.name}/phone.png")
    return 0


def sheet(env: dict[str, str]) -> int:
    """The client's page of a sheet, as a browser prints it."""
    browser = chromium()
    painter = shutil.which("pdftoppm")
    if browser is None or painter is None:
        print("sheet.png: no Chromium or no pdftoppm here, the picture stays as it is")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        page, pdf, picture = (Path(folder, f"sheet.{kind}") for kind in ("html", "pdf", "png"))
        subprocess.run([sys.executable, "-m", "kb.cli.main", *SHEET, str(page)], env=env, check=True)
        subprocess.run(
            [
                browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
                f"--user-data-dir={folder}/profile", f"--print-to-pdf={pdf}", str(page),
            ],
            check=True,
            capture_output=True,
        )  # fmt: skip
        subprocess.run(
            [painter, "-png", "-r", "88", "-f", "1", "-singlefile", str(pdf), str(picture.with_suffix(""))],
            check=True,
        )
        if (size := picture.stat().st_size) > MOST_BYTES:
            print(f"sheet.png: {size} bytes, more than {MOST_BYTES}")
            return 1
        shutil.copyfile(picture, PICTURES / "sheet.png")
    print(f"{PICTURES.name}/sheet.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
