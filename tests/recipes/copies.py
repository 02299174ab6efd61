"""Perform a recipe of DEVELOPERS.md in a copy of the project, and use the copy as people use the program."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).resolve().parents[2]
SECONDS: Final = 240  #: for one program, so that one that hangs is told
_MAIN: Final = "import sys; from kb.cli.main import main; main()"


@dataclass(frozen=True)
class Copy:
    """A copy of the project with a home folder for its books."""

    root: Path
    home: Path

    @classmethod
    def made(cls, folder: Path) -> Copy:
        """A copy in which nothing is changed yet."""
        root, home = folder / "copy", folder / "home"
        home.mkdir(mode=0o700, exist_ok=True)
        for name in ("kb", "data", "tests", "scripts"):
            shutil.copytree(ROOT / name, root / name)  # with the byte code of what is not edited
        shutil.copy(ROOT / "pyproject.toml", root)
        return cls(root, home)

    def edit(self, file: str, old: str, new: str) -> None:
        """Put ``new`` after the one place where the pattern ``old`` matches."""
        path = self.root / file
        text, found = re.subn(f"({old})", lambda match: match[1] + new, path.read_text("utf-8"), flags=re.M)
        assert found == 1, (path, old, found)
        path.write_text(text, "utf-8")

    def run(self, *command: str) -> subprocess.CompletedProcess[str]:
        """Run Python in the copy."""
        env = {
            **os.environ,
            "PYTHONPATH": str(self.root),
            "JACKFIELD_EXAMPLES": "5",
            "JACKFIELD_TODAY": "2026-03-06",
            # Hypothesis computes its tables of Unicode for seconds: every copy uses those of the project.
            "HYPOTHESIS_STORAGE_DIRECTORY": str(ROOT / ".hypothesis"),
        }
        return subprocess.run(
            [sys.executable, *command],
            cwd=self.root, env=env, capture_output=True, text=True, timeout=SECONDS,
        )  # fmt: skip

    def said(self, program: str, *words: str, code: Collection[int] = (0,)) -> str:
        """What a piece of Python prints, which must end with one of these codes."""
        done = self.run("-c", program, *words)
        assert done.returncode in code, done.stdout[-3000:] + done.stderr[-3000:]
        return done.stdout

    def jackfield(self, *words: str, code: Collection[int] = (0,)) -> str:
        """What a command prints, which must end with one of these codes."""
        return self.said(_MAIN, "--home", str(self.home), *words, code=code)

    def json(self, *words: str, code: Collection[int] = (0,)) -> Any:
        """What a command gives to programs."""
        return json.loads(self.jackfield(*words, "--json", code=code))

    def passes(self, *tests: str) -> None:
        """Run these tests in the copy: what a recipe says must pass at its end."""
        done = self.run("-m", "pytest", "-q", "-p", "no:cacheprovider", "-n", "0", *tests)
        assert done.returncode == 0, done.stdout[-3000:]
