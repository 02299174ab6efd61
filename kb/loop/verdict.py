"""Judge measured values against IEC 60118-4.

The verdict is ``meets`` only when every required check was measured and lies within its limit; a standard is
not met by what nobody measured. Everything else is ``falls-short``, and two lists tell the two cases apart:
``failed`` (measured, out of limits) and ``incomplete`` (not measured, or doubted; ``ok`` of these checks is
None). A verdict holds for the places that were measured: ``Judgement.places`` counts them. The user's verdict
stands next to it and never changes it.
"""

from __future__ import annotations

import statistics
from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from kb.base.validation import bounded
from kb.domain.language import ENGLISH, Language
from kb.loop.diagnose import Compared, compared, diagnose
from kb.loop.field import field_a_per_m
from kb.loop.metal import MetalLoss, metal_loss
from kb.loop.next_step import advise
from kb.loop.readings_file import Noise, Position, Readings
from kb.loop.sentences import Digits, Hertz, Sentence
from kb.loop.standard import (
    ACCEPTABLE_DBA,
    RESPONSE_DB,
    RESPONSE_HZ,
    RESPONSE_REFERENCE_HZ,
    SHORT_PERIODS_DBA,
    STANDING_DB,
    SiteNoise,
    Use,
    at_most,
    noise_on_limit_dba,
    site_noise,
    source,
)

#: A reading that differs this much from the computed field, or from what the other places show, is doubted
#: even if it lies within its limits, dB (common practice: three times what a hand-held meter scatters).
DOUBT_DB: Final = 6.0
#: A height that was measured counts for a height of the standard this near, metres (common practice).
NEAR_HEIGHT_M: Final = 0.05


def icnirp_reference_a_per_m(frequency_hz: float) -> float:
    """Return the general public's reference level of H in A/m r.m.s., 50 Hz to 10 MHz (ICNIRP 2010).

    160 A/m to 400 Hz; 6.4e4/f to 3 kHz; 21 A/m above (Health Phys. 99:818-836, Table 4). Raises BadInput
    outside the range.
    """
    bounded(frequency_hz, "frequency", low=50, high=1e7, unit="Hz")
    if frequency_hz <= 400:
        return 160.0
    return 6.4e4 / frequency_hz if frequency_hz < 3000 else 21.0


#: What the general public may be exposed to at 1 kHz, A/m r.m.s.
EXPOSURE_1KHZ_A_PER_M: Final = icnirp_reference_a_per_m(1000)


@dataclass(frozen=True)
class Check:
    """One check: the value against ``low`` and ``high`` in ``unit``, and whether it holds (None: not proved).

    ``reference`` is what decibels count from. ``required`` checks decide the verdict; the others inform.
    ``code``: ``field``, ``field-reached``, ``response``, ``noise-off``, ``noise-on``, ``points``,
    ``standing``, ``exposure``. ``clause`` is of IEC 60118-4, else ``other`` names the source. ``place``,
    ``height`` (m) and ``hertz`` say where it was measured; ``note`` adds what a person should know.
    ``doubted``: there is something against the reading.
    """

    code: str
    value: float | None
    ok: bool | None
    clause: str = ""
    low: float | None = None
    high: float | None = None
    unit: str = "dB"
    reference: str = ""
    required: bool = True
    note: Sentence | None = None
    place: str = ""
    hertz: float | None = None
    height: float | None = None
    doubted: bool = False
    other: str = ""

    def said(self, said: Language) -> str:
        """Return the name of the check in a language."""
        key = f"loop/check/{self.code}"
        if self.code == "response" and self.hertz is None:
            key += "/place"
        elif not self.place and said.has(f"{key}/none"):
            key += "/none"
        hertz = None if self.hertz is None else Hertz(self.hertz)
        values = {"place": self.place, "hertz": hertz, "height": self.height}
        return Sentence(key, values).shown(said)

    @property
    def name(self) -> str:
        """Return the name of the check in English."""
        return self.said(ENGLISH)

    @property
    def limit(self) -> str:
        """Return the limits in words, without the unit."""
        if self.low is None:
            return "" if self.high is None else f"{self.high:g} or less"
        return f"{self.low:g} or more" if self.high is None else f"{self.low:+g} to {self.high:+g}"

    @property
    def source(self) -> str:
        """Return the source of the limit."""
        return source(self.clause) if self.clause else self.other


@dataclass(frozen=True)
class Judgement:
    """Hold the verdict on a set of readings, with its reasons."""

    readings: Readings
    checks: tuple[Check, ...]
    compared: tuple[Compared, ...]
    current_known: bool
    diagnosis: tuple[Sentence, ...]
    advice: tuple[Sentence, ...] = ()
    """Return the next steps."""
    metal: MetalLoss | None = None
    """Hold the loss to metal that a trial loop shows."""

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of required checks that were measured and do not hold."""
        return tuple(check.name for check in self.checks if check.required and check.ok is False)

    @property
    def incomplete(self) -> tuple[str, ...]:
        """Names of required checks that were not measured, or whose reading is doubted."""
        return tuple(check.name for check in self.checks if check.required and check.ok is None)

    @property
    def doubted(self) -> tuple[str, ...]:
        """Names of the checks whose reading is doubted."""
        return tuple(check.name for check in self.checks if check.doubted)

    @property
    def places(self) -> int:
        """Return the number of places of use with a measured field; the verdict holds for these."""
        return len(self.readings.measured)

    @property
    def verdict(self) -> str:
        """``meets`` when all required checks were measured and hold, else ``falls-short``."""
        return "falls-short" if self.failed or self.incomplete else "meets"

    def as_json(self) -> dict[str, object]:
        """Return plain values for JSON."""
        user = self.readings.user
        return {
            "verdict": self.verdict,
            "checks": [
                {
                    "name": each.name,
                    "value": each.value,
                    "limit": each.limit,
                    "ok": each.ok,
                    "source": each.source,
                    "code": each.code,
                    "unit": f"{each.unit} re {each.reference}" if each.reference else each.unit,
                    "required": each.required,
                    "note": each.note.text if each.note else "",
                    "place": each.place,
                    "doubted": each.doubted,
                }
                for each in self.checks
            ],
            "failed": list(self.failed),
            "incomplete": list(self.incomplete),
            "doubted": list(self.doubted),
            "places": self.places,
            "use": self.readings.use.value,
            "signal": self.readings.signal.value,
            "meter": self.readings.meter.value,
            "target_db": self.readings.target_db,
            "user": None if user is None else {"satisfied": user.satisfied, "words": user.words},
            "compared": [
                {
                    "name": each.name,
                    "measured_db": each.measured_db,
                    "computed_db": each.computed_db,
                    "difference_db": each.difference,
                }
                for each in self.compared
            ],
            "current_known": self.current_known,
            "metal": None
            if self.metal is None
            else {"at_1_khz_db": self.metal.at_1_khz_db, "at_5_khz_db": self.metal.at_5_khz_db},
            "diagnosis": [
                {"code": each.code, "text": each.text, "where": list(each.where)} for each in self.diagnosis
            ],
            "advice": [
                {"code": each.code, "text": each.text, "where": list(each.where)} for each in self.advice
            ],
            "date": self.readings.date,
            "place": self.readings.place,
        }


def judge(readings: Readings) -> Judgement:
    """Judge readings against the standard and, if the loop is known, against the computed field."""
    pairs, faults = compared(readings), diagnose(readings)
    checks = (
        *_field_checks(readings, pairs),
        *_point_checks(readings),
        *_standing_checks(readings),
        *_response_checks(readings),
        *_noise_checks(readings),
        _exposure(readings),
    )
    metal = metal_loss(readings, pairs)
    inside = [each for each in pairs if each.name not in readings.outside]
    failed = [each.name for each in checks if each.required and each.ok is False]
    return Judgement(
        readings=readings,
        checks=checks,
        compared=pairs,
        current_known=readings.current is not None,
        diagnosis=faults,
        advice=metal.sentences if metal else advise(readings, faults, inside, failed),
        metal=metal,
    )


_RE_FIELD: Final = "400 mA/m"
_RE_1_KHZ: Final = "1 kHz"
_NOT_MEASURED: Final = Sentence("loop/note/not-measured")


def _field_checks(readings: Readings, pairs: Collection[Compared]) -> list[Check]:
    """Every point within its tolerance (8.4.3, small volumes 9.5), and one at the full field (8.2.7, 9.5)."""
    use, target = readings.use, readings.target_db
    low, high = target - use.tolerance_db, target + use.tolerance_db
    clause = "9.5" if use.small else "8.4.3"
    if not readings.measured:
        return [Check("field", None, None, clause, low, high, reference=_RE_FIELD, note=_NOT_MEASURED)]
    doubts = _doubts(readings, pairs)
    found = []
    for each, level in readings.measured:
        within = at_most(low, level) and at_most(level, high)
        doubt = doubts.get(each.name)
        found.append(
            Check(
                "field",
                level,
                None if within and doubt else within,
                clause,
                low,
                high,
                reference=_RE_FIELD,
                note=doubt or milliamps(level),
                place=each.name,
                doubted=doubt is not None,
            )
        )
    sure = [level for each, level in readings.measured if each.name not in doubts]
    strongest = max(sure, default=None)
    found.append(
        Check(
            "field-reached",
            strongest,
            None if strongest is None else at_most(target, strongest),
            "9.5" if use.small else "8.2.1, 8.2.7",
            low=target,
            reference=_RE_FIELD,
            note=Sentence(f"loop/note/{'all-doubted' if strongest is None else 'strongest'}"),
        )
    )
    return found


def _doubts(readings: Readings, pairs: Collection[Compared]) -> dict[str, Sentence]:
    """Say why the reading of a place is doubted, by its name."""
    if readings.loop is None or readings.use.small or readings.trial:
        return {}
    found = {name: Sentence("loop/note/outside") for name in readings.outside}
    key, level = "loop/note/not-as-computed", 0.0
    if readings.current is None:  # the places can only be compared with each other
        if len(pairs) < 3:
            return found
        key, level = "loop/note/not-as-others", statistics.median(each.difference for each in pairs)
    for each in pairs:
        off = each.difference - level
        if abs(off) > DOUBT_DB:
            found.setdefault(each.name, Sentence(key, {"off": Digits(off, signed=True)}))
    return found


def milliamps(level: float) -> Sentence:
    """Return a level in dB re 400 mA/m as the field in mA/m."""
    field = 1000 * field_a_per_m(level)
    return Sentence(
        "loop/note/milliamps", {"field": Digits(field, 0) if field >= 10 else float(f"{field:.2g}")}
    )


#: Where the points of a small volume are described; those of a chair are agreed.
_POINTS_CLAUSE: Final = {Use.COUNTER: "9.3", Use.REFUGE: "9.2", Use.CHAIR: "9.4"}


def _point_checks(readings: Readings) -> list[Check]:
    """Count the points of a small volume at each height of the standard (9.2, 9.3); agreed ones need one."""
    found = []
    for height, least in readings.use.points:
        wanted = 1 if readings.points_agreed else least
        count = sum(at_most(abs(each.height - height), NEAR_HEIGHT_M) for each, _ in readings.measured)
        clause = "9.4" if readings.points_agreed else _POINTS_CLAUSE[readings.use]
        found.append(
            Check(
                "points",
                float(count),
                True if count >= wanted else None,
                clause,
                low=float(wanted),
                unit="points",
                height=height,
                note=None if count >= wanted else Sentence("loop/note/few-points"),
            )
        )
    return found


def _standing_checks(readings: Readings) -> list[Check]:
    """The field near a small volume where people are expected to stand (9.5)."""
    if not readings.use.small:
        return []
    high = readings.target_db + STANDING_DB
    found = [
        Check(
            "standing",
            each.field_db,
            at_most(each.field_db, high),
            "9.5",
            high=high,
            reference=_RE_FIELD,
            place=each.name,
        )
        for each in readings.positions
        if each.standing and each.field_db is not None
    ]
    if not found and readings.use is not Use.CHAIR:
        found.append(
            Check(
                "standing",
                None,
                None,
                "9.5",
                high=high,
                reference=_RE_FIELD,
                note=_NOT_MEASURED,
            )
        )
    return found


def _response_checks(readings: Readings) -> list[Check]:
    """The response at every selected point against its own 1 kHz (8.3.7), over what 8.3.3 and 8.3.4 count."""
    points = [each for each in readings.positions if each.field_db is not None or each.response]
    points = [each for each in points if not each.standing]
    if readings.response:
        points.append(readings.response)
    if not any(each.response for each in points):
        return [_response(None, hertz, None, _NOT_MEASURED) for hertz in RESPONSE_HZ]
    return [check for each in points for check in _response_at(each, alone=len(points) == 1)]


def _response_at(point: Position, *, alone: bool) -> list[Check]:
    name = None if alone or not point.name else point.name
    if not point.response:
        return [
            Check(
                "response",
                None,
                None,
                "8.3.7",
                -RESPONSE_DB,
                RESPONSE_DB,
                reference=_RE_1_KHZ,
                note=_NOT_MEASURED,
                place=point.name,
            )
        ]
    levels = point.response_re_1_khz()
    low, high = RESPONSE_HZ
    between = [hertz for hertz in point.response if low < hertz < high and hertz != RESPONSE_REFERENCE_HZ]
    found = []
    for hertz in sorted({low, high, *between}):
        note = None if levels else Sentence("loop/note/no-1-khz")
        if hertz not in point.response:
            note = _NOT_MEASURED
        found.append(_response(name, hertz, levels.get(hertz), note))
    return found


def _response(place: str | None, hertz: float, value: float | None, note: Sentence | None) -> Check:
    return Check(
        "response",
        value,
        None if value is None else at_most(abs(value), RESPONSE_DB),
        "8.3.7",
        -RESPONSE_DB,
        RESPONSE_DB,
        reference=_RE_1_KHZ,
        note=note,
        place=place or "",
        hertz=hertz,
    )


def _noise_checks(readings: Readings) -> list[Check]:
    """The site's noise (7.2, advice) and the system's against it, place by place (10.4.7)."""
    points = [(each.name, each.noise) for each in readings.positions if each.noise != Noise()]
    if readings.noise != Noise():
        points.insert(0, ("", readings.noise))
    offs = [(noise.off, name) for name, noise in points if noise.off is not None]
    worst, where = max(offs, default=(None, ""))
    ok, note = None, _NOT_MEASURED
    if worst is not None:
        site = site_noise(worst, tonal=readings.tonal)
        ok, note = not site.report, _site_note(site, worst)
    found = [
        Check(
            "noise-off",
            worst,
            ok,
            "7.2",
            high=ACCEPTABLE_DBA,
            unit="dB(A)",
            reference=_RE_FIELD,
            required=False,
            note=note,
            place=where,
        )
    ]
    for name, noise in points or [("", Noise())]:
        limit = None if noise.off is None or worst is None else noise_on_limit_dba(noise.off, worst)
        why = None
        if noise.on is None:
            why = _NOT_MEASURED
        elif limit is None:
            why = Sentence("loop/note/no-off")
        found.append(
            Check(
                "noise-on",
                noise.on,
                None if limit is None or noise.on is None else at_most(noise.on, limit),
                "10.4.7",
                high=limit,
                unit="dB(A)",
                reference=_RE_FIELD,
                note=why,
                place=name,
            )
        )
    return found


def _site_note(site: SiteNoise, worst: float) -> Sentence:
    """Say what the class means; a marked tone alone makes a noise worse than its level."""
    tone = site is SiteNoise.NOT_TOLERABLE and worst <= SHORT_PERIODS_DBA
    return Sentence(f"loop/note/{'tone' if tone else site.value}")


def _exposure(readings: Readings) -> Check:
    fields = [each.field_db for each in readings.positions if each.field_db is not None]
    value = field_a_per_m(max(fields)) if fields else None
    return Check(
        "exposure",
        value,
        None if value is None else value <= EXPOSURE_1KHZ_A_PER_M,
        high=EXPOSURE_1KHZ_A_PER_M,
        unit="A/m",
        required=False,
        note=_NOT_MEASURED if value is None else Sentence("loop/note/information"),
        other="ICNIRP 2010, Health Phys. 99:818-836, Table 4 (general public)",
    )
