"""If the browser's driver cannot start on a machine, the browser's tests are skipped, and it is said why."""

from __future__ import annotations

import sys

from tests.web.conftest import driver_trouble


def test_a_driver_that_starts_is_no_trouble() -> None:
    assert driver_trouble([sys.executable, "--version"]) == ""


def test_a_driver_that_does_not_start_is_told_in_its_own_words() -> None:
    fails = "import sys; sys.exit('node: error while loading shared libraries: libatomic.so.1')"
    assert driver_trouble([sys.executable, "-c", fails]).endswith("libatomic.so.1")
    assert driver_trouble([sys.executable, "-c", "raise SystemExit(127)"]) == "exit code 127"
    assert "none-such" in driver_trouble(["/none-such"])
