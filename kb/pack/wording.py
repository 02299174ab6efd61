"""Write a packing plan as JSON, and as sentences for people."""

from __future__ import annotations

from collections import Counter
from math import floor
from typing import Any, Final

from kb.base.text import percent
from kb.domain.words import Form, Signal
from kb.evidence import Likely, Output
from kb.pack.plan_values import Answer, Ask, JobPlan, Plan, Risk, Useless

MANY: Final = 3  #: changes of a list; of more the list itself is told where it is shorter

#: How an installer speaks of an output.
_CALLED: Final = {
    Signal.OPTICAL: "an optical jack",
    Signal.COAXIAL: "a coaxial digital jack",
    Signal.ANALOG_LINE: "an analog line output",
    Signal.HEADPHONE: "a headphone jack",
    Signal.ARC: "an HDMI ARC socket",
    Signal.EARC: "an HDMI eARC socket",
    Signal.SPEAKER_LEVEL: "loudspeaker terminals",
    Signal.WIRELESS: "Bluetooth",
}
#: What to ask a client: is it there, and is it in use?
_ASKED: Final = {
    Signal.OPTICAL: (
        "is there a square jack with a small door or a red glow?",
        "is something plugged into the square jack with the door?",
    ),
    Signal.COAXIAL: (
        "is there an orange round jack, or one marked coaxial?",
        "is something plugged into the orange or coaxial jack?",
    ),
    Signal.ANALOG_LINE: (
        "are there red and white jacks marked OUT?",
        "is something plugged into the red and white OUT jacks?",
    ),
    Signal.HEADPHONE: (
        "is there a small round hole with a headphone sign?",
        "is something plugged into the headphone jack?",
    ),
    Signal.ARC: (
        "is there an HDMI socket with ARC printed at it?",
        "is something plugged into the HDMI socket marked ARC?",
    ),
    Signal.EARC: (
        "is there an HDMI socket with eARC printed at it?",
        "is something plugged into the HDMI socket marked eARC?",
    ),
    Signal.SPEAKER_LEVEL: (
        "are there clamps or holes for loudspeaker wires?",
        "are wires in the clamps for loudspeakers?",
    ),
    Signal.WIRELESS: (
        "does its sound menu have Bluetooth?",
        "does it play to something by Bluetooth?",
    ),
}
_PHOTO: Final = "can you send a photo of the back and sides, all sockets?"
_SPEAKERS: Final = "does anybody need the set's own speakers while the loop is used?"
_WHY: Final = {
    Useless.MUTES: "silencing the speakers",
    Useless.TAKEN: "in use by something else",
    Useless.FAILS: "known not to work",
    Useless.NO_WAY: "with no way to this driver",
}


def to_json(plan: Plan) -> dict[str, Any]:
    """The plan as ``jackfield pack --json`` prints it (README, "For programs")."""
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
        "exact": plan.exact,
        "hindered": [
            {
                "job": number,
                "reachable": _p(plan.jobs[number - 1].reachable),
                "text": hindrance_text(plan, number),
            }
            for number in plan.hindered
        ],
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
        "works": _p(plan.works),
        "prior_share": _p(plan.prior_share),
        "if_speakers_free": None if plan.if_free is None else _p(plan.if_free),
        "outputs": [
            {
                "form": use.output.form.value,
                "signal": use.output.signal.value,
                "p": _p(use.there),
                "works": _p(use.works),
                "items": list(use.items),
            }
            for use in plan.uses
        ],
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
                "why": [why.value for why in risk.why],
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
            "fewer": list(one.fewer),
            "more": list(one.more),
        }

    return {
        "job": ask.job,
        "jobs": list(ask.jobs),
        "question": question_text(ask),
        "saves": round(ask.saves, 2),
        "share": _p(ask.share),
        "items_fewer": round(ask.items, 2),
        "lifts": _p(ask.lifts),
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


def at_least(p: float) -> str:
    """A lower bound of a chance for people: rounded down.

    >>> at_least(0.9068), at_least(0.0042)
    ('at least 90%', 'at least 0.4%')
    """
    return f"at least {floor(100 * p)}%" if p >= 0.01 else f"at least {floor(1000 * p) / 10:g}%"


def below(p: float, limit: float) -> str:
    """A chance below a limit, said so that it is seen to be below.

    >>> below(0.82, 0.95), below(0.9497, 0.95)
    ('82%', 'not quite 95%')
    """
    said = percent(p)
    return f"not quite {said}" if p < limit and said == percent(limit) else said


def called(output: Output) -> str:
    """An output in the trade's words; forms that need an adapter of their own are named.

    >>> called(Output(Form.SCART, Signal.ANALOG_LINE))
    'an analog line output (SCART)'
    """
    name = _CALLED.get(output.signal, output.signal.label)
    odd = output.form.asked or (output.form, output.signal) == (Form.JACK_35, Signal.ANALOG_LINE)
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
    reasons = " or ".join(_WHY[why] for why in risk.why)
    return f"only {listed(risk.panel)}, {reasons}" if reasons else f"only {listed(risk.panel)}"


def hindrance_text(plan: Plan, number: int) -> str:
    """What keeps a job from being sure, and what might change that."""
    job = plan.jobs[number - 1]
    risk = job.hindrance
    said = f"{risk_text(risk)} ({percent(risk.p)})" if risk else "what is expected there is too uncertain"
    if job.if_free is not None:
        said += f"; if nobody needs its speakers, {percent(job.if_free)} can be reached"
    return said


def question_text(ask: Ask) -> str:
    """What to ask on the phone, in words that a client understands.

    >>> question_text(Ask((1,), "taken", Output(Form.TOSLINK, Signal.OPTICAL), 8.0, 0.2))
    'Is something plugged into the square jack with the door?'
    """
    if ask.code == "speakers":
        asked = _SPEAKERS
    elif ask.about is None:
        asked = _PHOTO
    elif ask.code == "taken":
        asked = _ASKED.get(ask.about.signal, ("", f"is the output for {ask.about.signal.label} in use?"))[1]
    else:
        usual = _ASKED.get(ask.about.signal, (f"is there an output for {ask.about.signal.label}?", ""))[0]
        asked = ask.about.form.asked or usual
    return asked[0].upper() + asked[1:]


def gain_text(ask: Ask, plan: Plan) -> str:
    """What is gained by asking."""
    if ask.code == "speakers":
        job = plan.jobs[ask.job - 1]
        best = percent(job.reachable + ask.lifts)
        return f"if nobody does: {best} can be reached there, and not {percent(job.reachable)}"
    fewer = f", {ask.items:.1f} items fewer on average" if ask.items >= 0.1 else ""
    return f"saves {percent(ask.share)} of what is needed there{fewer}"


def answer_text(answer: Answer) -> str:
    """What an answer changes in what its job needs.

    >>> answer_text(Answer(0.8, ("DAC",), 0.99, 20.0, fewer=("optical splitter",)))
    'without optical splitter'
    >>> answer_text(Answer(0.8, ("DAC",), 0.99, 20.0, fewer=("ARC extractor", "HDMI cable 2 m") * 2))
    'nothing but DAC'
    """
    if len(answer.fewer) + len(answer.more) > max(MANY, len(answer.items)):
        return f"nothing but {_counted(answer.items)}" if answer.items else "nothing: no item helps there"
    changes = [("without ", answer.fewer), ("also ", answer.more)]
    said = [word + _counted(items) for word, items in changes if items]
    return "; ".join(said) or "the same list"


def _counted(items: tuple[str, ...]) -> str:
    counts = Counter(items)
    return ", ".join(item if n == 1 else f"{n} x {item}" for item, n in counts.items())


def expected_text(one: Likely) -> str:
    """A panel that may be met."""
    return listed(one.outputs) if one.outputs else "no usable output"
