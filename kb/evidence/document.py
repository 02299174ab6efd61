"""Write what is expected of a set as a JSON document."""

from __future__ import annotations

from typing import Any

from kb.evidence.learn import Expectation


def as_json(expectation: Expectation) -> dict[str, Any]:
    """Return the expectation as plain values: panels, outputs, and the groups of sets behind them."""
    source = expectation.source
    outputs = sorted(expectation.speakers)
    return {
        "source": {
            "make": source.make,
            "model": source.model,
            "kind": source.kind.value,
            "display": source.display.value if source.display else None,
            "year": source.year,
        },
        "expected": [
            {
                "signals": sorted({o.signal.value for o in one.outputs}),
                "outputs": [{"form": o.form.value, "signal": o.signal.value} for o in one.outputs],
                "p": round(one.p, 4),
            }
            for one in expectation.shapes
        ],
        "other": round(expectation.other, 4),
        "outputs": [
            {
                "form": output.form.value,
                "signal": output.signal.value,
                "p": round(sum(one.p for one in expectation.shapes if output in one.outputs), 4),
                "speakers": {effect.value: round(p, 4) for effect, p in expectation.speakers[output].items()},
                "p_works": round(expectation.works[output].p, 4),
                "interval": [
                    round(expectation.works[output].low, 4),
                    round(expectation.works[output].high, 4),
                ],
                "findings": expectation.works[output].findings,
            }
            for output in outputs
        ],
        "levels": [
            {"level": one.level, "visits": one.visits, "sets": one.sets, "share": round(one.share, 4)}
            for one in expectation.levels
        ],
        "prior_share": round(expectation.prior_share, 4),
    }
