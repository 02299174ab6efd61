"""What is installed is whole: data and migrations are in the wheel, and it works without the checkout."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
CHECKOUT_ONLY = ("data/demo/", "data/pictures/")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    return next(folder.glob("*.whl"))


def test_data_and_migrations_ship_and_tests_do_not(wheel: Path) -> None:
    names = zipfile.ZipFile(wheel).namelist()
    assert "kb/py.typed" in names
    data = {path.relative_to(ROOT).as_posix() for path in ROOT.glob("data/**/*") if path.is_file()}
    needed = {name for name in data if not name.startswith(CHECKOUT_ONLY)}
    assert {name.removeprefix("kb/") for name in names if name.startswith("kb/data/")} == needed
    assert any(name.startswith("kb/store/migrations/versions/0001") for name in names)
    assert not any(name.startswith(("tests/", "scripts/")) for name in names)


def test_what_only_the_checkout_reads_does_not_ship(wheel: Path) -> None:
    """Pictures of the README and the invented demo book are half a megabyte that no command reads."""
    names = zipfile.ZipFile(wheel).namelist()
    assert [name for name in names if name.removeprefix("kb/").startswith(CHECKOUT_ONLY)] == []
    read = [path for path in ROOT.glob("kb/**/*.py") if re.search(r"[\"'](demo|pictures)/", path.read_text())]
    assert read == []


def test_an_installed_jackfield_finds_its_data(wheel: Path, tmp_path: Path) -> None:
    zipfile.ZipFile(wheel).extractall(tmp_path / "site")
    visit = tmp_path / "visit.json"
    jacks = [{"form": "toslink", "marking": "OPTICAL OUT"}]
    visit.write_text(
        json.dumps({"date": "2026-03-04", "source": {"make": "Norwell", "model": "X1"}, "jacks": jacks})
    )
    code = (
        "import sys; sys.path.insert(0, sys.argv.pop(1));"
        "import kb; assert 'site' in kb.__file__, kb.__file__; from kb.cli.main import main; main()"
    )
    command = [sys.executable, "-c", code, str(tmp_path / "site"), "--home", str(tmp_path / "book")]
    command += ["path", "--panel", str(visit), "--json"]
    done = subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
    assert json.loads(done.stdout)["dac"]["needed"] is True
