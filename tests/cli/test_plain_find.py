"""A find of words alone begins without the library that parses options, and answers as any other find."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Run

COLD = (
    "import sys; from kb.cli.main import run; code = run(sys.argv[1:]);"
    " sys.exit(9 if 'click' in sys.modules else code)"
)
PLACE = Path(__file__).resolve().parents[2]


def cold(*args: str) -> subprocess.CompletedProcess[str]:
    """The same in a process of its own, which leaves with 9 where the parser was loaded."""
    return subprocess.run([sys.executable, "-c", COLD, *args], cwd=PLACE, capture_output=True, text=True)


@pytest.mark.parametrize(
    "args", [("find", "nv40-210"), ("find", "norwell", "nv40-210", "--json"), ("find", "zz99")]
)
def test_a_plain_find_loads_no_parser_and_answers_the_same(jackfield: Run, args: tuple[str, ...]) -> None:
    jackfield("record", "Norwell", "NV40-210", "opt=OPTICAL OUT:ok")
    there = jackfield(*args, "--limit", "10")
    here = cold(*args)
    assert (here.returncode, here.stdout, here.stderr) == (there.code, there.out, there.err)
    if "--json" in args:
        assert json.loads(here.stdout)["matches"][0]["model"] == "NV40-210"


def test_a_wrong_query_is_told_the_same(jackfield: Run) -> None:
    jackfield("record", "Norwell", "NV40-210")
    there = jackfield("find", "shade:red", "--limit", "10")
    here = cold("find", "shade:red")
    assert (here.returncode, here.stderr) == (there.code, there.err)
    assert here.returncode == 2


def test_what_was_found_is_said_in_the_language_of_the_settings(jackfield: Run) -> None:
    jackfield("record", "Norwell", "NV40-210", "opt=OPTICAL OUT:ok,on")
    jackfield("settings", "--language", "es", "--inputs", "line-3.5")
    found = jackfield("find", "nv40-210").out
    assert "  exacto " in found
    assert ", 1 hallazgo\n" in found
    assert "cable óptico de 2 m" in found
    nothing = jackfield("find", "zzz99")
    assert nothing.code == 1
    assert "ningún aparato como 'zzz99' en el libro" in nothing.out
