"""How is Jackfield made ready on this machine? A virtual environment beside the project, used by the
other scripts here. Only the standard library, and only what Python 3.11 has.
"""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
LOCK = ROOT / "scripts" / "lock.txt"
WANTED = (3, 11)


def ready(extras: str = "") -> Path:
    """The Python of an environment with Jackfield and ``extras`` installed; made when it is missing.

    Leaves with a message that names what the machine lacks.
    """
    if sys.version_info < WANTED:
        leave(
            f"Jackfield needs Python 3.11 or later; this is {sys.version.split()[0]}.",
            "Install a newer one, for example: apt-get install python3.11 python3.11-venv",
        )
    python = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    if not python.exists() or not works(python):
        print(f"Making a virtual environment in {VENV.name} ...", flush=True)
        make()
    stamp = VENV / f"jackfield-{extras or 'plain'}.stamp"
    state = hashlib.sha256((ROOT / "pyproject.toml").read_bytes() + LOCK.read_bytes()).hexdigest()
    if not stamp.exists() or stamp.read_text() != state:
        what = f"Jackfield with its {extras} tools" if extras else "Jackfield"
        print(f"Installing {what} into {VENV.name} (a minute or two the first time) ...", flush=True)
        install(python, extras)
        stamp.write_text(state)
    return python


def install(python: Path, extras: str) -> None:
    """Install Jackfield with ``extras`` in the versions of the lock; if that fails, say what can be done."""
    # Byte code is made when a module is first used: of the largest libraries only a small part ever is.
    pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-compile"]
    if extras == "test":
        ahead(pip)
    target = f"{ROOT}[{extras}]" if extras else str(ROOT)
    done = subprocess.run(
        [*pip, "--constraint", str(LOCK), "--editable", target], stderr=subprocess.PIPE, text=True
    )
    sys.stderr.write(done.stderr)
    if done.returncode:
        leave("The installation did not succeed; pip's message is above.", advice(done.stderr))


def ahead(pip: list[str]) -> None:
    """Install all that the lock names, one pip per core, as pip itself does one thing at a time.

    Whatever fails here, the installation that follows meets it again and tells it.
    """
    names = [line for line in LOCK.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    cores = os.cpu_count() or 1
    with tempfile.TemporaryDirectory() as folder:
        parts = [Path(folder, f"{number}.txt") for number in range(min(cores, 4))]
        for number, part in enumerate(parts):
            part.write_text("\n".join(names[number :: len(parts)]), encoding="utf-8")
        begun = [
            subprocess.Popen([*pip, "--no-deps", "--requirement", str(part)], stderr=subprocess.DEVNULL)
            for part in parts
        ]
        for one in begun:
            one.wait()


def advice(said: str) -> str:
    """What to do after pip failed, by what it said."""
    unreachable = re.search(
        "connection|name resolution|timed? ?out|unreachable|proxy|ssl", said, re.IGNORECASE
    )
    missing = re.search(r"No matching distribution found for ([\w.-]+)", said)
    if unreachable or not (missing or "conflict" in said.lower()):
        return "Is there a network?"
    what = f"A version of {missing[1]}" if missing else "A version"
    python = f"Python {sys.version_info.major}.{sys.version_info.minor} on {sys.platform}"
    return (
        f"{what} that scripts/{LOCK.name} names is not to be had for {python}.\n"
        f"Other versions may be: python3 scripts/lock.py (it renews scripts/{LOCK.name})."
    )


def make() -> None:
    """Make the environment anew; names the system package where venv is not whole."""
    try:
        import ensurepip  # noqa: F401  # absent where the distribution splits venv off
        import venv
    except ImportError:
        version = f"{sys.version_info.major}.{sys.version_info.minor}"
        leave(
            "This Python cannot make virtual environments.",
            f"On Debian or Ubuntu: apt-get install python{version}-venv",
        )
    venv.EnvBuilder(with_pip=True, clear=VENV.exists()).create(VENV)


def works(python: Path) -> bool:
    """Does the environment's Python still start (its base may have been removed) and have pip?"""
    try:
        return subprocess.run([str(python), "-m", "pip", "--version"], capture_output=True).returncode == 0
    except OSError:
        return False


def leave(*lines: str) -> None:
    """Say why nothing more can be done here, and stop."""
    print(*lines, sep="\n", file=sys.stderr)
    raise SystemExit(1)
