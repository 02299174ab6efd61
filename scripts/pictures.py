"""What does the tool look like? The pictures of the README, made from its real output on the demo book.

    python3 scripts/pictures.py

Needs the demo book that scripts/demo.py loads.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from environment import ROOT, ready

PICTURES = ROOT / "data" / "pictures"
#: Name of the picture -> the command that it shows.
SHOWN = {"path": ["path", "Norwell", "NV40-210"]}

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
        console.print(Text.from_ansi(done.stdout))
        title = f"jackfield {' '.join(words)}"
        frame = _FRAME.replace("{title}", title)
        picture = console.export_svg(title=title, code_format=frame, unique_id=name)
        (PICTURES / f"{name}.svg").write_text(picture, encoding="utf-8")
        print(f"{PICTURES.name}/{name}.svg")
    return 0


if __name__ == "__main__":
    sys.exit(main())
