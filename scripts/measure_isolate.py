"""How many minutes does the next-test choice save against fixed orders and random order?

    python scripts/measure_isolate.py [--cases 2000] [--seed 1]
    python scripts/measure_isolate.py --stories

Faults are drawn from the priors of each complaint and path, answers from the model's own chances; every way
of choosing gets the same cases and stops at the same point (0.9, or nothing left that tells anything).
With ``--stories`` the homes of ``tests/isolate/stories.py`` are worked, which know nothing of these chances.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from isolate_trial import Choice, cases, greedy, in_order, path_used, run, shuffled

from kb.base.datafiles import data_tables
from kb.isolate.model import Model
from kb.isolate.model_file import model_from
from kb.isolate.state import State, start

PATHS: tuple[tuple[str, str, tuple[str, ...], str], ...] = (
    ("no-sound", "analog-line", ("RCA cable 2 m",), "line-rca"),
    ("no-sound", "optical", ("optical cable 2 m", "DAC", "RCA cable 1 m"), "line-rca"),
    ("no-sound", "optical", ("optical cable 2 m",), "optical"),
    ("no-sound", "coaxial", ("coaxial cable 2 m", "DAC"), "line-3.5"),
    ("no-sound", "arc", ("HDMI cable 1 m", "ARC extractor", "cable 3.5 mm"), "line-3.5"),
    ("no-sound", "headphone", ("cable 3.5 mm",), "line-3.5"),
    ("no-sound", "", (), ""),
    ("weak", "analog-line", ("RCA cable 2 m",), "line-rca"),
    ("weak", "headphone", ("cable 3.5 mm",), "line-3.5"),
    ("hum", "analog-line", ("RCA cable 2 m",), "line-rca"),
    ("hum", "optical", ("optical cable 2 m", "DAC", "RCA cable 1 m"), "line-rca"),
    ("echo", "optical", ("optical cable 2 m", "DAC"), "line-3.5"),
    ("echo", "wireless", ("Bluetooth receiver",), "line-3.5"),
    ("distorted", "optical", ("optical cable 2 m", "DAC"), "line-3.5"),
    ("distorted", "headphone", ("cable 3.5 mm",), "line-3.5"),
    ("speakers-dead", "headphone", ("cable 3.5 mm",), "line-3.5"),
    ("speakers-dead", "arc", ("HDMI cable 1 m", "ARC extractor"), "line-3.5"),
)


def orders(begun: State) -> dict[str, Choice]:
    """The fixed orders to beat."""
    tests = begun.open_tests
    by_value = sorted(tests, key=lambda test: -begun.bits(test) / test.minutes)
    by_bits = sorted(tests, key=lambda test: -begun.bits(test))
    return {
        "chain": in_order([test.id for test in tests]),
        "cheapest": in_order([test.id for test in sorted(tests, key=lambda test: test.minutes)]),
        "telling": in_order([test.id for test in by_bits]),
        "per-minute": in_order([test.id for test in by_value]),
    }


def stories(model: Model, seed: int) -> None:
    """Prints, for each way of choosing, how the written homes end, and what one misread answer does."""
    from tests.isolate.stories import STORIES, begin, mend_in_vain, misreadings, tell

    print(f"{len(STORIES)} homes{'found':>12}{'sure or good':>14}{'tests':>8}{'minutes':>9}")
    for name in ("chosen", "chain", "cheapest", "random"):
        ends = []
        for story in STORIES:
            begun = begin(story, model)
            ways = {**orders(begun), "chosen": greedy, "random": shuffled(begun, seed)}
            ends.append(tell(story, begun, ways[name]))
        count = len(ends)
        print(
            f"{name:10}{sum(one.found for one in ends):10}"
            f"{sum(one.state.settled or one.state.gone for one in ends):14}"
            f"{sum(one.tests for one in ends) / count:8.2f}{sum(one.minutes for one in ends) / count:9.2f}"
        )
    wrong = [
        tell(story, begin(story, model), greedy, {test: taken})
        for story in STORIES
        for test, taken in misreadings(tell(story, begin(story, model), greedy))
    ]
    print(
        f"{len(wrong)} single misreadings: {sum(one.found for one in wrong)} find the fault all the same, "
        f"{sum(mend_in_vain(one, greedy).found for one in wrong)} with mending in vain first"
    )


def main() -> None:
    """Prints one line per complaint and path."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--cases", type=int, default=2000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--stories", action="store_true", help="the written homes in place of drawn cases")
    told = asked.parse_args()
    begun_at = time.perf_counter()
    model = model_from(data_tables("faults.toml"))
    read_in = time.perf_counter() - begun_at
    print(f"model read in {read_in:.3f} s: {len(model.faults)} faults, {len(model.tests)} tests")
    if told.stories:
        stories(model, told.seed)
        return
    print(f"{told.cases} cases each, seed {told.seed}; mean minutes to done (chosen: +- standard error)")
    print(
        f"{'complaint, path':28}{'chosen':>13}{'chain':>8}{'cheapest':>9}{'telling':>8}{'per-min':>8}"
        f"{'random':>8}{'right':>7}{'at 0.9':>7}"
    )
    for complaint, signal, items, driver_input in PATHS:
        begun = start(model, complaint, path_used(signal, items, driver_input))
        drawn = cases(begun, told.cases, told.seed)
        chosen = run(begun, greedy, drawn)
        fixed = [run(begun, choose, drawn).minutes for choose in orders(begun).values()]
        few = drawn[: max(len(drawn) // 10, 1)]
        lots = [run(begun, shuffled(begun, told.seed + number), few).minutes for number in range(10)]
        print(
            f"{complaint + ', ' + (signal or 'unknown') + ('+' + str(len(items)) if items else ''):28}"
            f"{chosen.minutes:7.2f} ±{chosen.error:4.2f}"
            f"{fixed[0]:8.2f}{fixed[1]:9.2f}{fixed[2]:8.2f}{fixed[3]:8.2f}{sum(lots) / len(lots):8.2f}"
            f"{chosen.right:7.2f}{chosen.settled:7.2f}"
        )
    print(f"{time.perf_counter() - begun_at:.1f} s in all")


if __name__ == "__main__":
    main()
