"""Judge measured values against IEC 60118-4.

The verdict. ``meets`` is said only when every required check was measured and lies within its limit; a
standard is not met by what nobody measured. Everything else is ``falls-short``, and two lists tell the two
cases apart: ``failed`` (measured, out of limits) and ``incomplete`` (not measured; ``ok`` of these checks is
None). The user's verdict stands beside it and never changes it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kb.base.validation import bounded
from kb.loop.diagnose import NOISE_LIMIT_DBA, RESPONSE_DB, Compared, Diagnosis, compared, diagnose
from kb.loop.field import TOLERANCE_DB, field_a_per_m
from kb.loop.next_step import advise
from kb.loop.readings_file import Readings

_STANDARD: Final = "IEC 60118-4:2014+A1:2017"
#: Background noise to aim for, dB(A) re 400 mA/m (cl. 4 and 7).
NOISE_AIM_DBA: Final = -47.0


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
    """One check: value and limit in ``unit``, whether it holds (None: not measured), and the clause.

    ``required`` checks decide the verdict; the others inform. ``code``: ``field``, ``response``,
    ``noise-off``, ``noise-on``, ``exposure``. ``note`` adds what a person should know.
    """

    code: str
    name: str
    value: float | None
    limit: str
    unit: str
    ok: bool | None
    source: str
    required: bool = True
    note: str = ""


@dataclass(frozen=True)
class Judgement:
    """The verdict on a set of readings, with what led to it."""

    readings: Readings
    checks: tuple[Check, ...]
    compared: tuple[Compared, ...]
    current_known: bool
    diagnosis: tuple[Diagnosis, ...]
    advice: tuple[Diagnosis, ...] = ()
    """What to do next."""

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of required checks that were measured and do not hold."""
        return tuple(check.name for check in self.checks if check.required and check.ok is False)

    @property
    def incomplete(self) -> tuple[str, ...]:
        """Names of required checks that were not measured."""
        return tuple(check.name for check in self.checks if check.required and check.ok is None)

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
                    "unit": each.unit,
                    "required": each.required,
                    "note": each.note,
                }
                for each in self.checks
            ],
            "failed": list(self.failed),
            "incomplete": list(self.incomplete),
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
    """Judge readings against the standard and, where the loop is told, against the computed field."""
    checks = (
        *_field_checks(readings),
        *_response_checks(readings),
        *_noise_checks(readings),
        _exposure(readings),
    )
    pairs, faults = compared(readings), diagnose(readings)
    failed = [each.name for each in checks if each.required and each.ok is False]
    return Judgement(
        readings=readings,
        checks=checks,
        compared=pairs,
        current_known=readings.current is not None,
        diagnosis=faults,
        advice=advise(readings, faults, pairs, failed),
    )


def _field_checks(readings: Readings) -> list[Check]:
    limit, source = f"-{TOLERANCE_DB:g} to +{TOLERANCE_DB:g}", f"{_STANDARD} cl. 8.2"
    if not readings.positions:
        return [Check("field", "field", None, limit, "dB re 400 mA/m", None, source, note="not measured")]
    return [
        Check(
            "field",
            f"field at {each.name}",
            each.field_db,
            limit,
            "dB re 400 mA/m",
            _within(each.field_db, TOLERANCE_DB),
            source,
            note=_milliamps(each.field_db),
        )
        for each in readings.positions
    ]


def _milliamps(level: float) -> str:
    field = 1000 * field_a_per_m(level)
    return f"{field:.0f} mA/m" if field >= 10 else f"{field:.2g} mA/m"


def _response_checks(readings: Readings) -> list[Check]:
    found, limit = [], f"-{RESPONSE_DB:g} to +{RESPONSE_DB:g}"
    response = readings.response
    for name, key in (("100 Hz", "db_100_hz"), ("5 kHz", "db_5000_hz")):
        level = getattr(response, key) if response else None
        middle = response.db_1000_hz if response else None
        value = None if level is None or middle is None else level - middle
        note = "not measured" if value is None else ""
        if value is None and level is not None:
            note = "not measured at 1 kHz, which it is compared with"
        found.append(
            Check(
                "response",
                f"response at {name}",
                value,
                limit,
                "dB re 1 kHz",
                None if value is None else _within(value, RESPONSE_DB),
                f"{_STANDARD} cl. 8.3",
                note=note,
            )
        )
    return found


def _noise_checks(readings: Readings) -> list[Check]:
    found = []
    for code, name, value in (
        ("noise-off", "background noise, driver off", readings.noise_off),
        ("noise-on", "background noise, driver on", readings.noise_on),
    ):
        note = "not measured"
        if value is not None:
            note = ""
            if value > NOISE_LIMIT_DBA:
                note = "report it and talk it over before going on"
            elif value > NOISE_AIM_DBA:
                note = f"tolerable; the aim is {NOISE_AIM_DBA:g} or less"
        found.append(
            Check(
                code,
                name,
                value,
                f"{NOISE_LIMIT_DBA:g} or less",
                "dB(A) re 400 mA/m",
                None if value is None else value <= NOISE_LIMIT_DBA,
                f"{_STANDARD} cl. 4 and 7",
                note=note,
            )
        )
    return found


def _exposure(readings: Readings) -> Check:
    strongest = max((each.field_db for each in readings.positions), default=None)
    value = None if strongest is None else field_a_per_m(strongest)
    return Check(
        "exposure",
        "exposure at 1 kHz, strongest position",
        value,
        f"{EXPOSURE_1KHZ_A_PER_M:g} or less",
        "A/m",
        None if value is None else value <= EXPOSURE_1KHZ_A_PER_M,
        "ICNIRP 2010, Health Phys. 99:818-836, Table 4 (general public)",
        required=False,
        note="for information" if value is not None else "not measured",
    )


def _within(value: float, limit: float) -> bool:
    # a reading typed as the limit itself is within it
    return abs(value) <= limit + 1e-9
