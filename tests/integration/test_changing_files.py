"""Two programs that change one small file at the same moment both have their way."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from threading import Barrier, Thread

import pytest

from kb.base.atomic import LOCK, changing_files
from kb.base.errors import BookTrouble
from kb.settings import Settings, change, load

ONE_MORE = """
import pathlib, sys, time
from kb.base.atomic import changing_files, write_mine
folder = pathlib.Path(sys.argv[1])
file = folder / "count"
for _ in range(20):
    with changing_files(folder):
        count = int(file.read_bytes())
        time.sleep(0.002)
        write_mine(file, str(count + 1).encode())
"""
HELD = """
import pathlib, sys, time
from kb.base.atomic import changing_files
with changing_files(pathlib.Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(600)
"""


def test_no_change_of_any_program_is_lost(tmp_path: Path) -> None:
    (tmp_path / "count").write_bytes(b"0")
    children = [subprocess.Popen([sys.executable, "-c", ONE_MORE, tmp_path]) for _ in range(3)]
    assert [child.wait() for child in children] == [0, 0, 0]
    assert (tmp_path / "count").read_bytes() == b"60"


def test_threads_that_change_other_settings_at_once_all_have_their_way(tmp_path: Path) -> None:
    together = Barrier(3)

    def work(field: str, value: object) -> None:
        def slowly(settings: Settings) -> Settings:
            time.sleep(0.05)
            return replace(settings, **{field: value})  # type: ignore[arg-type]

        together.wait()
        change(tmp_path, slowly)

    fields = {"driver": "bench driver", "initials": "RT", "driver_current_a": 4.0}
    threads = [Thread(target=work, args=pair) for pair in fields.items()]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert load(tmp_path) == Settings(driver="bench driver", initials="RT", driver_current_a=4.0)


def test_a_program_that_was_killed_holds_nothing(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", HELD, tmp_path], stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == b"held\n"
        with pytest.raises(BookTrouble, match="another Jackfield"), changing_files(tmp_path, wait_s=0.1):
            pass
        child.kill()
        child.wait()
    with changing_files(tmp_path, wait_s=0.1):
        pass


def test_what_is_wrong_with_the_folder_is_told_and_what_the_work_raises_goes_through(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(BookTrouble, match="nothing was changed"), changing_files(tmp_path / "file"):
        pass
    with pytest.raises(PermissionError, match="by the work"), changing_files(tmp_path):
        raise PermissionError("raised by the work")
    (tmp_path / LOCK).write_bytes(b"another program wrote this here, more than a page of it" * 90)
    with pytest.raises(BookTrouble, match=LOCK), changing_files(tmp_path):
        pass


@pytest.mark.skipif(os.name == "nt", reason="a pipe has no name there")
def test_a_pipe_in_the_place_of_the_lock_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / LOCK)
    with pytest.raises(BookTrouble, match="a pipe"), changing_files(tmp_path):
        pass
