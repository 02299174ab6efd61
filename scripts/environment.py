"""How is Jackfield made ready on this machine? A virtual environment beside the project, used by the
other scripts here. Only the standard library, and only what Python 3.11 has.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
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
    state = hashlib.sha256((ROOT / "pyproject.toml").read_bytes()).hexdigest()
    if not stamp.exists() or stamp.read_text() != state:
        what = f"Jackfield with its {extras} tools" if extras else "Jackfield"
        print(f"Installing {what} into {VENV.name} (a minute or two the first time) ...", flush=True)
        target = f"{ROOT}[{extras}]" if extras else str(ROOT)
        pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        if subprocess.run([*pip, "--editable", target], check=False).returncode:
            leave("The installation did not succeed; pip's message stands above.", "Is the network there?")
        stamp.write_text(state)
    return python


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
