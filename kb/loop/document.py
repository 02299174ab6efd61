"""Write the answer for a room as JSON, in SI units and dB re 400 mA/m."""

from __future__ import annotations

from kb.loop.driver import Need
from kb.loop.field import Plane
from kb.loop.plan import Answer, Compared, items
from kb.loop.spill import Spill
from kb.loop.standard import REFERENCE_A_PER_M, TOLERANCE_DB
from kb.loop.wire import FREQUENCIES_HZ


def field_answer(answer: Answer, plane: Plane) -> dict[str, object]:
    """Return the field of one plane for JSON (``field``, and each of ``planes``)."""
    low, high = answer.range_db(plane)
    return {
        "height_m": None if answer.distance_only else plane.height,
        "offset_m": plane.offset,
        "centre_a_per_m_per_a": plane.centre,
        "min_db": low,
        "max_db": high,
        "spread_db": plane.spread_db,
        "share_within_3_db": plane.share_within(answer.current_a * answer.metal_gain, TOLERANCE_DB),
        "share_within": answer.share_within(plane),
        "tolerance_db": plane.tolerance_db,
        "reference_a_per_m": REFERENCE_A_PER_M,
    }


def _need(need: Need) -> dict[str, object]:
    return {"hertz": need.hertz, "current_a": need.current_a, "voltage_v": need.voltage_v}


def _spill(spilt: Spill) -> dict[str, object]:
    return {
        "asked_db": spilt.asked_db,
        "reach_m": spilt.reach_m,
        "beside": [{"distance_m": each.distance_m, "level_db": each.level_db} for each in spilt.by_distance],
        "storeys": [{"ear_m": each.height_m, "level_db": each.level_db} for each in spilt.storeys],
    }


def _layout(each: Compared) -> dict[str, object]:
    laid = each.laid
    return {
        "layout": laid.kind.value,
        "turns": laid.turns,
        "current_a": laid.current_a,
        "share_within_3_db": laid.share,
        "min_db": laid.weakest_db,
        "max_db": laid.strongest_db,
        "gap_m": laid.gap_m,
        "wire_m": laid.metres,
        "spill": _spill(each.spill),
        "groups": [
            {
                "loops": [
                    {"corners_m": [list(spot) for spot in loop.spots], "way": way}
                    for loop, way in group.loops
                ],
                "resistance_ohm": load.resistance,
                "inductance_h": load.inductance,
            }
            for group, load in zip(laid.groups, each.loads, strict=True)
        ],
        "fits": each.fits,
        "cautions": [{"code": one.code, "text": one.text} for one in laid.cautions],
    }


def as_json(answer: Answer) -> dict[str, object]:
    """Return the answer as plain values for JSON, in SI units and dB re 400 mA/m."""
    ask, level, judged = answer.ask, answer.level, answer.fit
    x0, x1, y0, y1 = answer.loop.box
    return {
        "current_a": answer.current_a,
        "voltage_v": answer.voltage_v,
        "resistance_ohm": answer.load.resistance,
        "inductance_h": answer.load.inductance,
        "field": field_answer(answer, answer.planes[0]),
        "fits": answer.fits,
        "cautions": [
            {"code": each.code, "text": each.text, "source": each.source} for each in answer.cautions
        ],
        "reasons": [{"code": each.code, "text": each.text} for each in answer.reasons],
        "room": {
            "length_m": x1 - x0,
            "width_m": y1 - y0,
            "corners_m": [list(spot) for spot in answer.loop.spots],
        },
        "resistance_max_ohm": answer.resistance_max,
        "wire": answer.wire.label,
        "wire_diameter_m": answer.wire.diameter,
        "turns": answer.loop.turns,
        "celsius": ask.celsius,
        "voltages_v": {f"{hertz:g}": volts for hertz, volts in answer.voltages_v.items()},
        "impedances_ohm": {f"{hertz:g}": answer.load.impedance(hertz) for hertz in FREQUENCIES_HZ},
        "level": None
        if level is None
        else {
            "shift_db": level.shift_db,
            "current_a": level.current_a,
            "voltage_v": level.voltage_v,
            "min_db": level.min_db,
            "max_db": level.max_db,
            "least": level.least,
        },
        "planes": [field_answer(answer, plane) for plane in answer.planes],
        "best_offset_m": answer.best.offset if answer.best else None,
        "best_spread_db": answer.best.spread_db if answer.best else None,
        "use": ask.use.value,
        "points_agreed": ask.points_agreed,
        "standing_db": answer.standing_db,
        "metal_allowance_db": ask.metal_db,
        "metal_allowance_5k_db": ask.metal_at(5000),
        "set_by": [{"code": each.code, "text": each.text} for each in answer.notes],
        "driver": None
        if ask.driver is None or judged is None
        else {
            "name": ask.driver.name,
            "current_margin_db": judged.current_margin_db,
            "voltage_margin_db": {f"{need.hertz:g}": need.margin_db for need in judged.needs},
            "programme": judged.programme.value,
            "overload_test": _need(judged.needs[1]),
            "at_1_khz": _need(judged.needs[0]),
            "source": ask.driver.source,
        },
        "line": None
        if ask.line_margin_db is None
        else {
            "source_v": ask.source_v,
            "sensitivity_v": ask.sensitivity_v,
            "margin_db": ask.line_margin_db,
        },
        "would_fit": [
            {
                "wire": each.wire.label,
                "turns": each.turns,
                "current_a": each.current_a,
                "copper_kg": each.copper_kg,
                "metres": each.metres,
                "usual": each.usual,
                "least_current": each.least,
            }
            for each in answer.better[:8]
        ],
        "one_turn": [{"code": each.code, "text": each.text} for each in answer.one_turn],
        "spill": None if answer.spill is None else _spill(answer.spill),
        "layouts": [_layout(each) for each in answer.layouts],
        "heights_counted_m": [
            plane.height for plane in (answer.planes if ask.all_count else answer.planes[:1])
        ],
        "route": ask.route.code if ask.route else None,
        "wire_laid_m": answer.laid_m,
        "wire_to_buy_m": answer.buy_m,
        "items": [
            {"item": each.item, "count": each.count, "unit": each.unit, "tool": each.tool}
            for each in items(answer)
        ],
    }
