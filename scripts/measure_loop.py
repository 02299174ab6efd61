"""Is the loop calculator fast enough in plain Python? Ratios to a bare start and to magpylib, same run.

python scripts/measure_loop.py
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable

from kb.domain.driver import DriverLimits
from kb.loop.field import listening_plane
from kb.loop.geometry import Loop
from kb.loop.plan import Ask, plan
from kb.loop.wire import Stock, awg, inductance


def best(work: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of some runs, seconds."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def started(code: str) -> float:
    """Return the shortest time of a new interpreter that runs ``code``, seconds."""
    return best(lambda: subprocess.run([sys.executable, "-c", code], check=True))


def main() -> None:
    """Print one line for each question."""
    bare = started("pass")
    room = started("import kb.loop.plan, kb.loop.verdict")
    print(f"start with the calculator / bare start: {room / bare:.2f} ({1000 * (room - bare):.0f} ms more)")

    loop = Loop.rectangle(5.2, 4.1)
    plane = listening_plane(loop, 1.2)
    own = best(lambda: listening_plane(loop, 1.2))
    print(f"field map of {len(plane.spots)} points: {1000 * own:.1f} ms")
    try:
        import magpylib
    except ImportError:
        print("magpylib is not installed: no comparison")
    else:
        source = magpylib.current.Polyline(current=1.0, vertices=[*loop.corners, loop.corners[0]])  # type: ignore[no-untyped-call]
        points = [(x, y, 1.2) for x, y in plane.spots]
        library = best(lambda: magpylib.getH(source, points))  # type: ignore[no-untyped-call]
        print(f"the same in magpylib (arrays): {1000 * library:.1f} ms; ours / magpylib: {own / library:.1f}")

    driver = DriverLimits("measured", 4.0, 8.0)
    stock = [Stock(awg(gauge), 0.0, "ASTM B258") for gauge in range(12, 25)]
    whole = best(lambda: plan(Ask(room=loop, wire_height=0.0, driver=driver), stock))
    print(
        f"whole answer with search over {4 * len(stock)} choices: {1000 * whole:.0f} ms, "
        f"{whole / own:.1f} times the map"
    )
    ring = Loop.polygon([(0, 0), (5, 0), (5, 3), (3, 3), (3, 4), (0, 4)])
    print(f"inductance of an L, outline known: {1e6 * best(lambda: inductance(ring, awg(18))):.0f} us")


if __name__ == "__main__":
    main()
