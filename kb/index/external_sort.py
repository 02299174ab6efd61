"""Sort more postings than should be in memory at once."""

from __future__ import annotations

import marshal
from collections.abc import Iterable, Iterator
from importlib import import_module
from itertools import islice
from typing import Any

PostingPool: Any = import_module("whoosh.writing").PostingPool

_RECORD = 1000  # postings


class Runs(PostingPool):  # type: ignore[misc]  # untyped, as all of Whoosh
    """Sort postings through files of the writer's own.

    A record holds many postings, as one record per posting takes longer than the sorting.
    """

    def _write_run(self, f: Any, items: Iterable[Any]) -> None:
        coming = iter(items)
        while some := list(islice(coming, _RECORD)):
            raw = marshal.dumps(some)
            f.write(len(raw).to_bytes(4, "big") + raw)
        f.close()

    def _read_run(self, path: str) -> Iterator[Any]:
        file = self._open_run(path)
        try:
            while size := file.read(4):
                raw = file.read(int.from_bytes(size, "big"))
                yield from marshal.loads(raw)  # noqa: S302  # a file that this writer has just written
        finally:
            file.close()
            self._remove_run(path)
