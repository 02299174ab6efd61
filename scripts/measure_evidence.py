"""How well do the chances of `kb.evidence` come true? Leave-one-out scores over a book of visits.

    python scripts/measure_evidence.py [VISITS.jsonl] [--every N]

Each whole visit to a panel is left out and predicted from all others (one visit out), and once more from a
book without any visit to that set (one model out). Scored are the joint shape (mean log score in bits, higher
is better), each of five output signals present or not (Brier score, lower is better), and what came of the
trials (Brier). Beside it: plain back-off (raw frequencies of the narrowest circle that has any finding) and
the frequencies of the whole book. Strengths are learned once, from all visits: five numbers a tree, so what
leaks from the visit left out is slight.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import log2
from pathlib import Path

from kb.domain.visit import Source, Visit, visit_from
from kb.domain.words import WORKED, Outcome, Signal
from kb.evidence import Evidence, Output
from kb.evidence.groups import set_of
from kb.evidence.signature import findings_by_output, is_partial, shape_of

SIGNALS = (
    ("analog line", (Signal.ANALOG_LINE,)),
    ("headphone", (Signal.HEADPHONE,)),
    ("optical", (Signal.OPTICAL,)),
    ("coaxial", (Signal.COAXIAL,)),
    ("ARC or eARC", (Signal.ARC, Signal.EARC)),
)
FLOOR = 1e-4  #: raw frequencies say "never"; a log score needs more than nothing
BINS = (0.0, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0001)


@dataclass
class Scores:
    """What one way of predicting has earned."""

    log: list[float] = field(default_factory=list)
    brier: list[float] = field(default_factory=list)
    said: list[tuple[float, float]] = field(default_factory=list)
    """(chance said, what came: 1 or 0) for every signal."""
    trials: list[tuple[float, float]] = field(default_factory=list)

    def shape(self, p: float, shares: Sequence[float], came: Sequence[bool]) -> None:
        self.log.append(log2(max(p, FLOOR)))
        self.said += [(share, float(is_so)) for share, is_so in zip(shares, came, strict=True)]

    @staticmethod
    def brier_of(pairs: Iterable[tuple[float, float]]) -> float:
        marks = [(p - came) ** 2 for p, came in pairs]
        return sum(marks) / len(marks) if marks else float("nan")

    def line(self, name: str) -> str:
        mean = sum(self.log) / len(self.log)
        trials = f"{self.brier_of(self.trials):9.4f}" if self.trials else "        -"
        return f"  {name:<26}{mean:9.3f}{self.brier_of(self.said):12.4f}{trials}"


def main() -> None:
    """Read the book, leave each visit out, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("visits", nargs="?", default="data/demo/visits.jsonl", type=Path)
    parser.add_argument("--every", type=int, default=1, help="leave out only each Nth visit")
    options = parser.parse_args()
    lines = options.visits.read_text("utf-8").splitlines()
    visits = [visit_from(json.loads(line), f"line {n}") for n, line in enumerate(lines, 1) if line.strip()]
    whole = Evidence.learn(visits)
    for name, levels in whole.strengths().items():
        print(f"strengths, {name}: " + ", ".join(f"{level} {s:.2f}" for level, s in levels.items()))
    scored = [v for v in visits if v.findings and not is_partial(v)][:: options.every]
    print(f"\n{len(visits)} visits, {len(scored)} left out one by one")
    by_visit = _measure(visits, scored, whole, lambda out, v: v is not out)
    _show("one visit out", by_visit)
    by_set = _measure(visits, scored, whole, lambda out, v: set_of(v.source) != set_of(out.source))
    _show("one model out", by_set)


def _measure(
    visits: Sequence[Visit], scored: Sequence[Visit], whole: Evidence, keep: Callable[[Visit, Visit], bool]
) -> dict[str, Scores]:
    scores = {name: Scores() for name in ("smoothed back-off", "plain back-off", "the whole book")}
    strengths = whole.strengths()
    for out in scored:
        rest = [v for v in visits if keep(out, v)]
        evidence = Evidence.learn(rest, strengths=strengths)
        found = findings_by_output(out)
        shape = shape_of(found)
        came = [any(output.signal in signals for output in found) for _, signals in SIGNALS]
        expected = evidence.expect(out.source)
        scores["smoothed back-off"].shape(
            _p_shape(evidence, out.source, shape), [expected.has(*signals) for _, signals in SIGNALS], came
        )
        for name, counts in (
            ("plain back-off", _narrowest(evidence, out)),
            ("the whole book", evidence.shapes.seen["all"].get("", {})),
        ):
            total = sum(counts.values()) or 1.0
            shares = [_share(counts, signals) / total for _, signals in SIGNALS]
            scores[name].shape(counts.get(shape, 0.0) / total, shares, came)
        _trials(scores, evidence, out, rest)
    return scores


def _p_shape(evidence: Evidence, source: Source, shape: str) -> float:
    """The chance that the panel has exactly the outputs of this shape, likely enough to be listed or not."""
    path = evidence.path(source)
    return evidence._mixed(evidence.shapes, path, evidence._family_mix(source, path), (shape,))[shape]


def _narrowest(evidence: Evidence, visit: Visit) -> Counter[str]:
    for level, key in reversed(evidence.path(visit.source)):
        counts = evidence.shapes.seen[level].get(key)
        if counts:
            return Counter(counts)
    return Counter()


def _share(counts: Counter[str] | dict[str, float], signals: Sequence[Signal]) -> float:
    names = {signal.value for signal in signals}
    return sum(n for shape, n in counts.items() if any(s.split(":")[-1] in names for s in shape.split(" ")))


def _trials(scores: dict[str, Scores], evidence: Evidence, out: Visit, rest: Sequence[Visit]) -> None:
    for output, findings in findings_by_output(out).items():
        for finding in findings:
            if finding.outcome is Outcome.NOT_TRIED:
                continue
            came = WORKED[finding.outcome]
            chance = evidence.chance(out.source, output, finding.input)
            scores["smoothed back-off"].trials.append((chance.p, came))
            scores["plain back-off"].trials.append((_plain(evidence, out, output), came))
            counts = evidence.works.seen["all"].get("", {})
            total = sum(counts.values()) or 1.0
            scores["the whole book"].trials.append((counts.get("works", 0.0) / total, came))


def _plain(evidence: Evidence, visit: Visit, output: Output) -> float:
    keys = dict(evidence.path(visit.source))
    signal = output.signal.value
    for level, key in (
        ("set", f"{output.symbol}>{keys.get('set', '')}"),
        ("family", f"{signal}>{keys.get('family', '')}"),
        ("make-era", f"{signal}>{keys.get('make-era', '')}"),
        ("signal", signal),
        ("all", ""),
    ):
        counts = evidence.works.seen[level].get(key)
        if counts:
            return counts.get("works", 0.0) / sum(counts.values())
    return 0.5


def _show(title: str, scores: dict[str, Scores]) -> None:
    print(f"\n{title}\n  {'':<26}{'log2':>9}{'Brier':>12}{'trials':>9}")
    for name, mine in scores.items():
        print(mine.line(name))
    for what, pick in (("outputs", "said"), ("trials", "trials")):
        print(f"  reliability of {what}, smoothed:   said    came    count")
        pairs: list[tuple[float, float]] = getattr(scores["smoothed back-off"], pick)
        for low, high in pairwise(BINS):
            inside = [(p, came) for p, came in pairs if low <= p < high]
            if inside:
                said = sum(p for p, _ in inside) / len(inside)
                came_so = sum(came for _, came in inside) / len(inside)
                label = f"{low:.2f} to {min(high, 1):.2f}"
                print(f"    {label:<28}{said:9.3f}{came_so:8.3f}{len(inside):9}")


if __name__ == "__main__":
    main()
