"""How far is long work? A bar on stderr, on a terminal only."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: Called with how much of how much is done.
Tell = Callable[[int, int], None]


@contextmanager
def bar(what: str) -> Iterator[Tell | None]:
    """A progress bar for ``what``, gone when the work ends; None where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task(what, total=None)
        last = -1

        def tell(done: int, total: int) -> None:
            nonlocal last
            if total and (percent := done * 200 // total) != last:
                last = percent
                shown.update(task, completed=done, total=total)

        yield tell
