"""How does a packing plan look to a program, and which sentences say it to people?"""

from __future__ import annotations

from typing import Any, Final

from kb.evidence import Likely, Output
from kb.pack.plan import Answer, Ask, JobPlan, Plan, Risk
from kb.words import Form, Signal

#: How an installer speaks of an output, and how a client can tell it.
_CALLED: Final = {
    Signal.OPTICAL: ("an optical jack", "a square jack with a small door or a red glow"),
    Signal.COAXIAL: (
        "a coaxial digital jack",
        "a single round jack, often orange, marked digital or coaxial",
    ),
    Signal.ANALOG_LINE: ("an analog line output", "red and white jacks marked audio OUT"),
    Signal.HEADPHONE: ("a headphone jack", "a small round hole with a headphone sign"),
    Signal.ARC: ("an HDMI ARC socket", "a flat HDMI socket with ARC printed at it"),
    Signal.EARC: ("an HDMI eARC socket", "a flat HDMI socket with eARC printed at it"),
    Signal.SPEAKER_LEVEL: ("loudspeaker terminals", "clamps or holes for loudspeaker wires"),
    Signal.WIRELESS: ("Bluetooth", "Bluetooth in the sound menu"),
}
_CLIENT_FORMS: Final = {
    Form.SCART: "a wide socket with 21 flat contacts (SCART)",
    Form.DIN_5: "a round socket with five holes",
    Form.JACK_635: "a thick headphone hole, as wide as a pencil",
    Form.MINI_TOSLINK: "a small round hole with a red glow",
}


def to_json(plan: Plan) -> dict[str, Any]:
    """The plan as plain values; the keys are those of the contract, and more."""
    return {
        "items": [
            {
                "item": line.item,
                "count": line.count,
                "in_stock": line.in_stock,
                "for": [{"job": job, "signals": _signals(outputs)} for job, outputs in line.uses],
            }
            for line in plan.items
        ],
        "certainty": _p(plan.certainty),
        "target": plan.target,
        "reached": plan.reached,
        "reachable": _p(plan.reachable),
        "cost": round(plan.cost, 2),
        "bound": round(plan.bound, 2),
        "optimal": plan.optimal,
        "jobs": [_job(number, one) for number, one in enumerate(plan.jobs, 1)],
        "next": None
        if plan.next is None
        else {
            "item": plan.next.items[0],
            "items": list(plan.next.items),
            "gain": _p(plan.next.gain),
        },
        "ask": [_ask(ask) for ask in plan.ask],
    }


def _job(number: int, plan: JobPlan) -> dict[str, Any]:
    source = plan.source
    return {
        "job": plan.job.name or str(number),
        "make": source.make,
        "model": source.model,
        "kind": source.kind.value,
        "certainty": _p(plan.certainty),
        "reachable": _p(plan.reachable),
        "expected": [
            {"signals": _signals(one.outputs), "outputs": _outputs(one.outputs), "p": _p(one.p)}
            for one in plan.expected
        ],
        "risks": [
            {
                "p": _p(risk.p),
                "text": risk_text(risk),
                "signals": _signals(risk.live or risk.panel or ()),
                "live": bool(risk.live),
            }
            for risk in plan.risks
        ],
    }


def _ask(ask: Ask) -> dict[str, Any]:
    def answer(one: Answer | None) -> dict[str, Any] | None:
        if one is None:
            return None
        return {
            "p": _p(one.p),
            "items": list(one.items),
            "certainty": _p(one.certainty),
            "cost": round(one.cost, 2),
        }

    return {
        "job": ask.job,
        "question": question_text(ask),
        "saves": round(ask.saves, 2),
        "share": _p(ask.share),
        "yes": answer(ask.yes),
        "no": answer(ask.no),
    }


def _p(value: float) -> float:
    return round(value, 4)


def _signals(outputs: tuple[Output, ...]) -> list[str]:
    return sorted({output.signal.value for output in outputs})


def _outputs(outputs: tuple[Output, ...]) -> list[dict[str, str]]:
    return [{"form": output.form.value, "signal": output.signal.value} for output in outputs]


# -- sentences -------------------------------------------------------------------------------------


def percent(p: float) -> str:
    """A chance for people: no false certainty at either end.

    >>> percent(0.9994), percent(0.042), percent(0.0004)
    ('over 99%', '4%', 'under 1%')
    """
    if p >= 0.995:
        return "over 99%"
    return "under 1%" if p < 0.005 else f"{100 * p:.0f}%"


def called(output: Output) -> str:
    """An output in the trade's words; forms that need an adapter of their own are named.

    >>> called(Output(Form.SCART, Signal.ANALOG_LINE))
    'an analog line output (SCART)'
    """
    name = _CALLED.get(output.signal, (output.signal.label, ""))[0]
    usual = {Form.TOSLINK, Form.RCA_PAIR, Form.RCA_SINGLE, Form.JACK_35, Form.HDMI, Form.BLUETOOTH}
    usual.add(Form.SPEAKER_TERMINALS)
    odd = output.form not in usual or (output.form, output.signal) == (Form.JACK_35, Signal.ANALOG_LINE)
    return f"{name} ({output.form.label})" if odd else name


def listed(outputs: tuple[Output, ...]) -> str:
    """Outputs in a row."""
    names = list(dict.fromkeys(called(output) for output in outputs))
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def risk_text(risk: Risk) -> str:
    """What may be found that the list does not connect."""
    if risk.live:
        used = f", in use by something else ({', '.join(s.label for s in risk.taken)})" if risk.taken else ""
        return f"only {listed(risk.live)}{used}"
    if risk.panel is None:
        return "a panel unlike any that is known"
    if not risk.panel:
        return "no usable output at all"
    return f"{listed(risk.panel)}, but of no use: silent, in use, or silencing the speakers"


def question_text(ask: Ask) -> str:
    """What to ask on the phone, in words that a client understands."""
    if ask.code == "photo" or ask.about is None:
        return "Can you send a photo of the back and sides of the set, with all sockets?"
    plain = (
        _CLIENT_FORMS.get(ask.about.form) or _CALLED.get(ask.about.signal, ("", ask.about.signal.label))[1]
    )
    if ask.code == "taken":
        return f"Is something plugged into {plain}, such as a soundbar?"
    return f"Is there {plain}?"


def expected_text(one: Likely) -> str:
    """A panel that may be met."""
    return listed(one.outputs) if one.outputs else "no usable output"
