"""Which version of each library do the scripts here install? Renew the answer, ``scripts/lock.txt``.

python3 scripts/lock.py            the newest that fit together, for Python 3.11 and later on every system
python3 scripts/lock.py --check    change nothing; exit code 1 if a library of pyproject.toml is not locked

uv (https://docs.astral.sh/uv/) finds the versions; it is put into an environment of its own for that.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
import tomllib
import venv
from pathlib import Path

from environment import LOCK, ROOT, leave

UV = "uv>=0.9"
HEAD = """\
# The versions that scripts/demo.py and scripts/test.py install. pyproject.toml says what Jackfield needs.
# Made by scripts/lock.py for Python 3.11 and later on Linux, macOS and Windows. Do not edit: run it again.
"""


def main() -> int:
    if sys.argv[1:] == ["--check"]:
        missing = unlocked(LOCK.read_text(encoding="utf-8"))
        print(f"Not in {LOCK.name}: {', '.join(missing)}" if missing else f"{LOCK.name} has every library.")
        return bool(missing)
    with tempfile.TemporaryDirectory() as folder:
        venv.create(folder, with_pip=True)
        programs = Path(folder) / ("Scripts" if os.name == "nt" else "bin")
        pip = [str(programs / "python"), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", UV]
        if subprocess.run(pip).returncode:
            leave("uv could not be installed; pip's message is above.", "Is there a network?")
        # Only what the project says goes into the lock, nothing of this machine's settings.
        plain = {key: value for key, value in os.environ.items() if not key.startswith("UV_")}
        asked = [
            *(str(programs / "uv"), "pip", "compile", "--no-config", "--quiet", "--universal"),
            *("--python-version", "3.11", "--all-extras", "--no-header", "--no-annotate"),
            *("--no-emit-index-url", "--no-emit-find-links", str(ROOT / "pyproject.toml")),
        ]
        done = subprocess.run(asked, cwd=ROOT, env=plain, stdout=subprocess.PIPE, text=True)
        if done.returncode:
            leave(
                "No versions were found that fit together; uv's message is above.",
                f"{LOCK.name} is as it was.",
            )
    made = HEAD + done.stdout
    before = LOCK.read_text(encoding="utf-8") if LOCK.exists() else ""
    LOCK.write_text(made, encoding="utf-8", newline="\n")
    changed = sorted(set(made.splitlines()) - set(before.splitlines()))
    print(*(changed or ["Nothing is newer."]), sep="\n")
    return 0


def named(requirement: str) -> str:
    """The name at the start of a requirement, spelled as PEP 503 has it.

    >>> named("Ruff_X[all]>=0.12 ; python_version > '3'")
    'ruff-x'
    """
    return re.sub(r"[-_.]+", "-", re.split(r"[^A-Za-z0-9._-]", requirement, maxsplit=1)[0]).lower()


def unlocked(lock: str) -> list[str]:
    """Libraries that pyproject.toml asks for, by itself or for an extra, and the lock does not name."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = [
        *project["dependencies"],
        *(one for some in project["optional-dependencies"].values() for one in some),
    ]
    known = {named(line) for line in lock.splitlines() if line and not line.startswith("#")}
    return sorted({named(one) for one in asked} - known - {project["name"]})


if __name__ == "__main__":
    sys.exit(main())
