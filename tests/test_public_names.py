"""What programs may import is one sorted list; every name in it is there and says what it is."""

from __future__ import annotations

import subprocess
import sys

import pytest

import kb


def test_the_list_of_public_names_is_sorted_and_names_each_once() -> None:
    assert kb.__all__ == sorted(set(kb.__all__))


@pytest.mark.parametrize("name", kb.__all__)
def test_a_public_name_is_there_and_says_what_it_is(name: str) -> None:
    assert (getattr(kb, name).__doc__ or "").strip()


def test_a_name_that_is_not_public_is_told_as_such() -> None:
    with pytest.raises(AttributeError, match="no attribute 'Bok'"):
        _ = kb.Bok


def test_importing_the_package_loads_nothing_heavy() -> None:
    heavy = {"sqlalchemy", "rich", "click", "whoosh", "sqlite3"}
    asked = f"import sys, kb; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
