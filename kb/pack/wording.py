"""Write a packing plan as JSON, and as sentences for people."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from math import floor
from typing import Any, Final

from kb.base.messages import LANGUAGES, either
from kb.catalogue import item_name
from kb.domain.language import ENGLISH, Language
from kb.domain.words import Form, Signal
from kb.evidence import Likely, Output
from kb.pack.plan_values import Answer, Ask, JobPlan, Plan, Risk

MANY: Final = 3  #: changes of a list; of more, the list itself is shown if it is shorter


def to_json(plan: Plan, language: Language = ENGLISH) -> dict[str, Any]:
    """Return the plan as ``jackfield pack --json`` prints it (README, "For programs")."""
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
                "text": hindrance_text(plan, number, language),
            }
            for number in plan.hindered
        ],
        "jobs": [_job(number, one, language) for number, one in enumerate(plan.jobs, 1)],
        "next": None
        if plan.next is None
        else {
            "item": plan.next.items[0],
            "items": list(plan.next.items),
            "gain": _p(plan.next.gain),
        },
        "ask": [_ask(ask, language) for ask in plan.ask],
    }


def _job(number: int, plan: JobPlan, language: Language) -> dict[str, Any]:
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
        "sockets": plan.sockets,
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
                "text": risk_text(risk, language),
                "signals": _signals(risk.live or risk.panel or ()),
                "live": bool(risk.live),
                "why": [why.value for why in risk.why],
            }
            for risk in plan.risks
        ],
    }


def _ask(ask: Ask, language: Language) -> dict[str, Any]:
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
        "question": question_text(ask, language),
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


def at_least(p: float, language: Language = ENGLISH) -> str:
    """Write a lower bound of a chance for people, rounded down.

    >>> at_least(0.9068), at_least(0.0042)
    ('at least 90%', 'at least 0.4%')
    """
    percent = f"{floor(100 * p)}%" if p >= 0.01 else f"{language.number(f'{floor(1000 * p) / 10:g}')}%"
    return language("pack/at-least", percent=percent)


def below(p: float, limit: float, language: Language = ENGLISH) -> str:
    """Write a chance below a limit so that readers see that it is below.

    >>> below(0.82, 0.95), below(0.9497, 0.95)
    ('82%', 'just below 95%')
    """
    said = language.percent(p)
    return (
        language("pack/just-below", percent=said) if p < limit and said == language.percent(limit) else said
    )


def called(output: Output, language: Language = ENGLISH) -> str:
    """Name an output in the trade's words, with its form if that needs an adapter of its own.

    >>> called(Output(Form.SCART, Signal.ANALOG_LINE))
    'an analog line output (SCART)'
    """
    key = f"pack/output/{output.signal}"
    name = language(key) if language.has(key) else language.word(output.signal)
    odd = output.form.asked or (output.form, output.signal) == (Form.JACK_35, Signal.ANALOG_LINE)
    return language("pack/output/with-form", output=name, form=output.form) if odd else name


def listed(outputs: tuple[Output, ...], language: Language = ENGLISH) -> str:
    """Write outputs in a row."""
    names = list(dict.fromkeys(called(output, language) for output in outputs))
    *most, last = names
    join = language("language/join")
    return language("language/and").join([join.join(most), last]) if most else last


def risk_text(risk: Risk, language: Language = ENGLISH) -> str:
    """Describe a possible find that the list does not connect."""
    if risk.live:
        outputs = listed(risk.live, language)
        if not risk.taken:
            return language("pack/risk/only", outputs=outputs)
        signals = language("language/join").join(language.word(signal) for signal in risk.taken)
        return language("pack/risk/taken", outputs=outputs, signals=signals)
    if risk.panel is None:
        return language("pack/risk/unlike")
    if not risk.panel:
        return language("pack/risk/none")
    outputs = listed(risk.panel, language)
    reasons = either(language(f"pack/why/{why.value}") for why in risk.why)
    key = "only-because" if reasons else "only"
    return language(f"pack/risk/{key}", outputs=outputs, reasons=reasons)


def hindrance_text(plan: Plan, number: int, language: Language = ENGLISH) -> str:
    """Say why a job is not certain, and what might change that."""
    job = plan.jobs[number - 1]
    risk, best = job.hindrance, "" if job.if_free is None else language.percent(job.if_free)
    if risk is None:
        return language(f"pack/hindrance/{'uncertain-free' if best else 'uncertain'}", best=best)
    key = "pack/hindrance/free" if best else "pack/hindrance"
    return language(key, risk=risk_text(risk, language), p=language.percent(risk.p), best=best)


def chance_text(plan: Plan, language: Language = ENGLISH) -> str:
    """Say how likely the list connects all jobs: the headline of the answer."""
    which = "every" if len(plan.jobs) > 1 else "one"
    said = language(f"pack/verdict/{which}", sure=_sure(plan, language))
    return said[:1].upper() + said[1:]


def caveats(plan: Plan, language: Language = ENGLISH) -> Iterator[str]:
    """Yield facts about the list as a whole: outlets, basis, cost, and why it is not more certain."""
    if (sockets := max((one.sockets for one in plan.jobs), default=1)) > 1:
        yield language("pack/verdict/outlets", sockets=sockets, item=item_name("power strip", language))
    if all(one.prior_share > 0.999 for one in plan.jobs):
        yield language("pack/verdict/practice")
    spare = 0.0 if plan.optimal or not plan.cost else 1 - plan.bound / plan.cost
    if spare >= 0.005:
        yield language("pack/verdict/not-proved", percent=language.percent(spare))
    if plan.reached:
        return
    yield language(
        "pack/verdict/not-possible",
        target=language.percent(plan.target),
        best=below(plan.reachable, plan.target, language),
        sure=_sure(plan, language),
    )
    for number in plan.hindered:
        key = "prevents-job" if len(plan.jobs) > 1 else "prevents"
        yield language(f"pack/verdict/{key}", number=number, why=hindrance_text(plan, number, language))


def _sure(plan: Plan, language: Language) -> str:
    return language.percent(plan.certainty) if plan.exact else at_least(plan.certainty, language)


def question_text(ask: Ask, language: Language = ENGLISH) -> str:
    """Write a question for the phone, in words that a client understands.

    >>> question_text(Ask((1,), "taken", Output(Form.TOSLINK, Signal.OPTICAL), 8.0, 0.2))
    'Is something plugged into the square jack with the door?'
    """
    if ask.code == "speakers":
        return language("pack/ask/speakers")
    if ask.about is None:
        return language("pack/ask/photo")
    if ask.code != "taken" and (asked := ask.about.form.asked):
        return asked.get(language.code, asked[LANGUAGES[0]])
    kind = "taken" if ask.code == "taken" else "there"
    key = f"pack/ask/{kind}/{ask.about.signal}"
    return language(key if language.has(key) else f"pack/ask/{kind}/other", signal=ask.about.signal)


def gain_text(ask: Ask, plan: Plan, language: Language = ENGLISH) -> str:
    """Describe the gain of asking; of several jobs at which to ask, the first is told as an example."""
    of = "-several" if len(ask.jobs) > 1 else ""
    if ask.code == "speakers":
        job = plan.jobs[ask.job - 1]
        best = language.percent(job.reachable + ask.lifts)
        return language(
            f"pack/gain/speakers{of}", job=ask.job, best=best, now=language.percent(job.reachable)
        )
    key = "items" if ask.items >= 0.1 else "cost"
    items = language.number(f"{ask.items:.1f}")
    return language(f"pack/gain/{key}{of}", job=ask.job, share=language.percent(ask.share), items=items)


def answer_text(answer: Answer, language: Language = ENGLISH) -> str:
    """Describe how an answer changes the needs of its job.

    >>> answer_text(Answer(0.8, ("DAC",), 0.99, 20.0, fewer=("optical splitter",)))
    'leave optical splitter'
    >>> answer_text(Answer(0.8, ("DAC",), 0.99, 20.0, fewer=("ARC extractor", "HDMI cable 2 m") * 2))
    'take only DAC'
    """
    if len(answer.fewer) + len(answer.more) > max(MANY, len(answer.items)):
        key = "only" if answer.items else "nothing"
        return language(f"pack/answer/{key}", items=_counted(answer.items, language))
    changes = [("leave", answer.fewer), ("take", answer.more)]
    said = [
        language(f"pack/answer/{key}", items=_counted(items, language)) for key, items in changes if items
    ]
    return "; ".join(said) or language("pack/answer/same")


def _counted(items: tuple[str, ...], language: Language) -> str:
    counts = {item_name(item, language): n for item, n in Counter(items).items()}
    return language("language/join").join(item if n == 1 else f"{n} x {item}" for item, n in counts.items())


def expected_text(one: Likely, language: Language = ENGLISH) -> str:
    """Describe a possible panel."""
    return listed(one.outputs, language) if one.outputs else language("pack/expected/none")
