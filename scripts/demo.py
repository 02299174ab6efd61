"""Show the main job on the demo book, in a folder of its own.

    python3 scripts/demo.py          the commands of a usual visit
    python3 scripts/demo.py --web    the same book on the phone page, on this machine only

Makes an environment in the project's folder, loads an invented region's findings into ``demo-book`` and runs
the commands of a usual visit. Safe to run twice: the second time only shows.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import sys

from environment import ROOT, VENV, leave, ready

BOOK = ROOT / "demo-book"
VISITS = ROOT / "data" / "demo" / "visits.jsonl"

STEPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("A model number read by torch light: has anybody met this set?", ("find", "nv40", "210")),
    ("Its panel, and how it was connected before.", ("show", "Norwell", "NV40-210")),
    (
        "How to connect it to a driver with a 3.5 mm line input: with a converter.",
        ("path", "Norwell", "NV40-210"),
    ),
    (
        "A set that goes silent when the headphone jack is used: no path while others listen.",
        ("path", "Kestering", "KTG24.2/W"),
    ),
    ("The same set when nobody else listens.", ("path", "Kestering", "KTG24.2/W", "--speakers-free")),
)
#: What to type so that the commands of the README work, on Linux and macOS, and on Windows.
HINTS = (
    ("source .venv/bin/activate", "export JACKFIELD_HOME=$PWD/demo-book"),
    (r".venv\Scripts\activate", r"set JACKFIELD_HOME=%CD%\demo-book"),
)


def main() -> int:
    if unknown := [word for word in sys.argv[1:] if word != "--web"]:
        leave(f"No option {unknown[0]}; there is --web.")
    web = "--web" in sys.argv[1:]
    ready("web" if web else "")
    command = VENV / ("Scripts/jackfield.exe" if os.name == "nt" else "bin/jackfield")
    env = {**os.environ, "JACKFIELD_HOME": str(BOOK)}
    env.pop("JACKFIELD_STORE", None)

    def run(*words: str) -> int:
        return subprocess.run([str(command), *words], env=env).returncode

    print(f"Loading the demo book (an invented region) into {BOOK.name} ...", flush=True)
    loaded = subprocess.run(
        [str(command), "record", "--file", str(VISITS)], env=env, stdout=subprocess.DEVNULL
    )
    if loaded.returncode:
        leave("The demo book could not be loaded; the message is above.")
    if web:
        print("Open the link below in a browser of this machine.\n", flush=True)
        return run("serve")
    for about, words in STEPS:
        print(f"\n\n# {about}\n$ jackfield {shlex.join(words)}\n", flush=True)
        if run(*words) > 1:  # 1 is a true answer of "no"
            return 1
    print("\n\nNow try it yourself. Tell this terminal to use Jackfield and the demo book:\n")
    for line in HINTS[os.name == "nt"]:
        print(f"  {line}")
    print(
        "\nThen type, for example:\n\n"
        '  jackfield find "nv4?-21"\n'
        "  jackfield record            (asks; saves only what you confirm)\n"
        "  jackfield guide             (the longer pages)\n\n"
        "Without JACKFIELD_HOME the book is your own, empty at first."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
