"""Share each visit among the panels that explain it, as people forget to record jacks.

A jack that a visit does not mention is weak evidence that the set lacks it. For a panel S the chance that a
visit to a set with that panel says what it says is

    P(visit | S) = product over outputs of S of P(said | there) x product over others of P(said | absent)

with the chances of ``forgetting.py``. By Bayes' rule a visit then counts for each panel in proportion to
P(visit | S) times the chance of S by the other visits and the wider groups (EM: Dempster, Laird & Rubin
1977). Panels that really differ within a model show outputs that the usual panel lacks, and whole panels at
once. Forgetting does not explain that: the strength of the level of sets tells them apart.

>>> notes = [Note(frozenset({"toslink:optical"}), frozenset(), False, 1.0, ("seen", ""))] * 8
>>> notes += [Note(frozenset(), frozenset(), False, 1.0, ("seen", ""))]
>>> found = shared_out(notes, (), lambda shapes: dict.fromkeys(shapes, 0.1), 0.5, Forgetting({"seen": 0.05}))
>>> {shape: round(n, 1) for shape, n in found.items()}
{'toslink:optical': 8.9, 'none': 0.1}
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import combinations
from typing import Final

from kb.evidence.forgetting import LIKELY, Forgetting, Note, joined

ADDED: Final = 4  #: outputs, at most, that a visit may have forgotten
PASSES: Final = 4  #: over the visits of one set; shares settle to two digits


def shared_out(
    notes: Sequence[Note],
    likely: Iterable[str],
    wider: Callable[[Collection[str]], Mapping[str, float]],
    strength: float,
    forgetting: Forgetting,
) -> dict[str, float]:
    """Return the counts of shapes that follow from the visits to one set.

    ``likely``: outputs that such sets have, the likeliest first. ``wider(shapes)``: the chances of shapes in
    the wider groups, worth ``strength`` visits.
    """
    alike = Counter(notes)
    others = list(dict.fromkeys(output for note in alike for output in sorted(note.outputs)))
    adds = list(dict.fromkeys((*others, *likely)))
    panels = {note: _panels(note, adds, forgetting) for note in alike}
    expected = wider({shape for some in panels.values() for shape in some})
    shares = {
        note: _scaled({shape: p * expected[shape] for shape, p in some.items()})
        for note, some in panels.items()
    }
    counts: dict[str, float] = {}
    for note, times in alike.items():
        _add(counts, shares[note], times * note.weight)
    for _ in range(PASSES if len(notes) > 1 else 0):
        for note, times in alike.items():
            _add(counts, shares[note], -note.weight)  # the other visits judge each visit
            odds = {
                shape: p * (max(0.0, counts.get(shape, 0.0)) + strength * expected[shape])
                for shape, p in panels[note].items()
            }
            _add(counts, shares[note], note.weight - times * note.weight)
            shares[note] = _scaled(odds)
            _add(counts, shares[note], times * note.weight)
    return {shape: n for shape, n in counts.items() if n > 1e-6 * len(notes)}


def _panels(note: Note, adds: Sequence[str], forgetting: Forgetting) -> dict[str, float]:
    """Return the panels that may explain a note, with the chance of the note."""
    missing = [output for output in adds if output not in note.outputs][:ADDED]
    said = {output: forgetting.said(output, note) for output in (*sorted(note.outputs), *missing)}
    as_said = 1.0
    for output, one in said.items():
        as_said *= one.there if output in note.outputs else one.absent
    found: dict[str, float] = {}
    for n in range(len(missing) + 1):
        for some in combinations(missing, n):
            p = as_said
            for output in some:
                p *= said[output].there / said[output].absent
            found[joined(note.outputs.union(some))] = p
    for output in sorted(note.outputs - note.tried):
        found[joined(note.outputs - {output})] = as_said * said[output].absent / said[output].there
    return found


def likely_first(rates: Mapping[str, float]) -> list[str]:
    """Return the outputs that a visit may have forgotten, by how often sets have them."""
    return sorted(
        (output for output, p in rates.items() if p >= LIKELY), key=lambda output: (-rates[output], output)
    )


def _scaled(odds: Mapping[str, float]) -> dict[str, float]:
    whole = sum(odds.values())
    return {shape: p / whole for shape, p in odds.items()}


def _add(into: dict[str, float], shares: Mapping[str, float], weight: float) -> None:
    for shape, p in shares.items():
        into[shape] = into.get(shape, 0.0) + weight * p
