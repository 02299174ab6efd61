"""Commands that other tests start, and kill: ``python -m tests.exchange.child JACKFIELD-ARGUMENTS``."""

from __future__ import annotations

import os
import resource
import sys

from kb.cli.main import run

if __name__ == "__main__":
    if limit := os.environ.get("FILE_LIMIT"):
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), resource.RLIM_INFINITY))
    print("begun", flush=True)
    code = run(sys.argv[1:])
    print("done", code, flush=True)
    sys.exit(code)
