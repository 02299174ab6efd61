"""Update the frequency of each fault from cases that a repair confirmed.

The file's odds count as ``STRENGTH`` earlier cases per complaint (a Dirichlet prior); each confirmed case
counts as one. A case gives evidence only on faults that its path allowed: a hundred analog paths say nothing
about caps on optical plugs. So the weight w of fault f solves

    w(f) = (STRENGTH p(f) + n(f)) / (STRENGTH + sum over cases of s(f, case) / sum over g of w(g) s(g, case))

with p the file's chance, n the confirmed cases and s how sure the path allows the fault. (This is Luce's
choice model, fitted by Hunter's minorise-maximise steps, Annals of Statistics 32, 2004; from memory.) If
every case allows every fault, this is the plain Dirichlet mean (STRENGTH p + n) / (STRENGTH + N).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording
from kb.base.validation import Fields, listed
from kb.isolate.model import Model
from kb.isolate.path_used import UNKNOWN_PATH, PathUsed, path_used_from, path_used_to
from kb.isolate.readers import known

STRENGTH: Final = 40.0  #: cases that the file's odds are worth, per complaint (a judgement)
CASES: Final = 100_000  #: confirmed cases read at once, at most
_STEPS: Final = 200
_STILL: Final = 1e-10


@dataclass(frozen=True, slots=True)
class Confirmed:
    """Hold one case in which repairing ``fault`` ended the complaint; a mere likelihood teaches nothing."""

    complaint: str
    fault: str
    path: PathUsed = UNKNOWN_PATH


def learned(model: Model, cases: Iterable[Confirmed], strength: float = STRENGTH) -> Model:
    """Return the model with priors updated from confirmed cases; cases with unknown faults are left out.

    ``strength``: how many cases the file's own odds are worth, above 0. The order of the cases does not
    matter.
    """
    if not strength > 0:
        raise BadInput("strength", strength, Said("expected/number-of-cases"))
    by_complaint: dict[str, Counter[Confirmed]] = {}
    for case in cases:
        if case.complaint in model.complaints and case.fault in model.weights(case.complaint):
            by_complaint.setdefault(case.complaint, Counter())[case] += 1
    return model.with_weights(
        {complaint: _fitted(model, complaint, counts, strength) for complaint, counts in by_complaint.items()}
    )


def _fitted(
    model: Model, complaint: str, counts: Mapping[Confirmed, int], strength: float
) -> dict[str, float]:
    prior = model.weights(complaint)
    found: Counter[str] = Counter()
    paths: Counter[PathUsed] = Counter()
    for case, count in counts.items():
        found[case.fault] += count
        paths[case.path] += count
    share = {path: {fault: model.share(fault, path) for fault in prior} for path in paths}
    weights = dict(prior)
    for _ in range(_STEPS):
        whole = {path: sum(weights[f] * share[path][f] for f in weights) for path in paths}
        new = {
            fault: (strength * prior[fault] + found[fault])
            / (strength + sum(count * share[path][fault] / whole[path] for path, count in paths.items()))
            for fault in weights
        }
        total = sum(new.values())
        new = {fault: one / total for fault, one in new.items()}
        moved = max(abs(new[fault] - weights[fault]) for fault in new)
        weights = new
        if moved < _STILL:
            break
    return weights


def confirmed_from(model: Model, data: object, place: Wording = "confirmed") -> tuple[Confirmed, ...]:
    """Read the book's cases: a list of {``complaint``, ``fault``, ``path``?: {signal, items, ..}}."""

    def read(value: object, where: Wording) -> Confirmed:
        fields = Fields(value, where, Said("expected/object-with", fields="complaint", last="fault"))
        complaint = fields.need(
            "complaint", known(model.complaints, Said("kind/a-complaint")), Said("expected/complaint")
        )
        faults = known(model.weights(complaint), Said("kind/a-fault-of-complaint"))
        case = Confirmed(
            complaint,
            fields.need("fault", faults, Said("expected/fault")),
            fields.take("path", path_used_from, UNKNOWN_PATH),
        )
        fields.end()
        return case

    return listed(read, CASES)(data, place)


def confirmed_to(case: Confirmed) -> dict[str, Any]:
    """Return one case as a plain dictionary, for the book."""
    said: dict[str, Any] = {"complaint": case.complaint, "fault": case.fault, "path": path_used_to(case.path)}
    return {key: value for key, value in said.items() if value}
