"""Show progress of long work on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from kb.base.progress import Progress


@contextmanager
def bar(what: str) -> Iterator[Progress | None]:
    """A progress bar for ``what``, gone when the work ends; None where stderr is no terminal."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich import progress as rich_progress
    from rich.console import Console

    columns = (
        rich_progress.TextColumn("{task.description}"),
        rich_progress.BarColumn(),
        rich_progress.TaskProgressColumn(),
        rich_progress.TimeRemainingColumn(),
    )
    with rich_progress.Progress(*columns, console=Console(stderr=True), transient=True) as shown:
        task = shown.add_task(what, total=None)
        last = -1

        def tell(done: int, total: int) -> None:
            nonlocal last
            if total and (percent := done * 200 // total) != last:
                last = percent
                shown.update(task, completed=done, total=total)

        yield tell
