"""Ranking of word searches on a judged set, by ``ir-measures`` (MIT; nDCG as trec_eval has it)."""

from __future__ import annotations

import random
from collections.abc import Callable

import ir_measures
from ir_measures import RR, R, nDCG

from kb.index import Index, SetEntry
from tests.index.conftest import MAKES

Book = Callable[..., Index]

# What sets were told of, by several people in their own words; grade 2 says it outright, 1 touches on it.
TOPICS = {
    "headphones mute speakers": (
        [
            "plugging headphones mutes the speakers",
            "speakers were muted by the headphone plug",
            "headphone jack: speaker muting cannot be turned off",
        ],
        ["headphone jack is worn", "speakers stay on with optical"],
    ),
    "no sound until pcm": (
        [
            "no sound until digital output was set to PCM",
            "silent, then PCM chosen and sound came",
            "set PCM or there is no sound",
        ],
        ["digital output offers bitstream only", "sound was fine at once"],
    ),
    "hum ground loop transformer": (
        [
            "hum from a ground loop, isolating transformer helped",
            "ground loop hum gone with transformer",
            "humming: transformer against the ground loop",
        ],
        ["slight hum, left as it is", "loop wire under the carpet"],
    ),
    '"sound menu" hidden': (
        [
            "the sound menu is hidden behind the settings key",
            "hidden sound menu, hold the key",
            "sound menu hidden by hotel mode",
        ],
        ["sound menu easy to find", "hidden screw over the panel"],
    ),
    "converter needs own power outlet": (
        [
            "converter needs its own power outlet",
            "no free outlet for the converter's power",
            "power for converter from own outlet",
        ],
        ["converter carried along", "outlet behind the cabinet"],
    ),
}
FILLER = "panel of the set seen in good light antenna and service sockets remote in the drawer fine".split()


def test_sets_that_say_it_come_before_sets_that_touch_on_it(book: Book) -> None:
    draw = random.Random(8)
    entries, judged = [], []
    count = 0
    for topic, (outright, touching) in TOPICS.items():
        for grade, notes in ((2, outright), (1, touching)):
            for note in notes:
                count += 1
                around = " ".join(draw.choices(FILLER, k=12))
                entries.append(
                    SetEntry(
                        f"d{count}",
                        draw.choice(MAKES),
                        f"ZZ{count}-900",
                        text=(("note", f"{around}. {note}"),),
                    )
                )
                judged.append(ir_measures.Qrel(topic, f"d{count}", grade))
    for _ in range(300):
        count += 1
        entries.append(
            SetEntry(
                f"d{count}",
                draw.choice(MAKES),
                f"ZZ{count}-900",
                text=(("note", " ".join(draw.choices(FILLER, k=14))),),
            )
        )
    reader = book(entries).reader()
    run = []
    for topic in TOPICS:
        for place, match in enumerate(reader.find(topic, limit=20).matches):
            assert match.how == "text"
            run.append(ir_measures.ScoredDoc(topic, match.key, 100.0 - place))
    reader.close()
    measured = ir_measures.calc_aggregate([nDCG @ 10, RR, R(rel=2) @ 10], judged, run)
    assert measured[nDCG @ 10] >= 0.9
    assert measured[RR] == 1.0
    assert measured[R(rel=2) @ 10] == 1.0
