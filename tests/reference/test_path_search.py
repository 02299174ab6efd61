"""The search for paths against networkx, on random catalogues and on the shipped one.

networkx knows nothing of items: the test writes the states and what leads from one to the next out as a
plain weighted graph, in its own words, and asks it for the shortest simple path.
"""

from __future__ import annotations

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.catalogue import Carried, Catalogue, End, Far, Input, Item, Near, Part, Power, Reach, Role, catalogue
from kb.domain.words import DriverInput, Form, Signal
from kb.path.chains import BESIDE_M, BOXES_SHARED, LONG_STRETCH, MIDWAY, MOST_BOXES, chains

FORMS = [Form.RCA_PAIR, Form.TOSLINK, Form.JACK_35]
CARRIED = [Carried.LINE, Carried.OPTICAL, Carried.HEADPHONE]

_nears = st.builds(
    Near,
    st.sampled_from(FORMS),
    st.sampled_from(Part),
    st.frozensets(st.sampled_from(CARRIED), min_size=1),
)
_fars = st.builds(Far, st.sampled_from(FORMS), st.sampled_from(Part), st.sampled_from([None, *CARRIED]))


@st.composite
def catalogues(draw: st.DrawFn) -> Catalogue:
    """Twelve items or fewer with any ends, lengths and costs, and one stretch that goes only so far."""
    items = [
        Item(
            name=f"item {number}",
            what="anything",
            role=draw(st.sampled_from([Role.CABLE, Role.ADAPTER, Role.SPLITTER, Role.ISOLATOR])),
            near=tuple(draw(st.lists(_nears, min_size=1, max_size=2))),
            far=tuple(draw(st.lists(_fars, min_size=1, max_size=2))),
            cost=draw(st.integers(1, 60)),
            length_m=draw(st.sampled_from([0.0, 0.0, 1.0, 2.0, 5.0])),
            counts_as_m=draw(st.sampled_from([0.0, 0.0, 3.0])),
            power=draw(st.sampled_from([Power.NONE, Power.SOCKET])),
        )
        for number in range(draw(st.integers(1, 12)))
    ]
    inputs = [DriverInput.LINE_35, DriverInput.OPTICAL]
    return Catalogue(
        items=tuple(items),
        inputs={
            name: Input(
                name,
                draw(st.sampled_from(FORMS)),
                Part.SOCKET,
                draw(st.frozensets(st.sampled_from(CARRIED), min_size=1)),
                mono=False,
            )
            for name in inputs
        },
        reaches={Signal.OPTICAL: Reach(Signal.OPTICAL, 3.0, 6.0, "drawn")},
        numbers={},
        priors={},
    )


def graph(known: Catalogue, start: End, run_m: float, have: set[str], need: frozenset[Role]) -> nx.DiGraph:
    """Every state that can be held and, between two, the cheapest item that leads over."""
    first = (start, run_m, 0.0, 0, need, False)
    most = BOXES_SHARED if Role.SPLITTER in need else MOST_BOXES
    made = nx.DiGraph()
    made.add_node(first)
    waiting = [first]
    while waiting:
        state = waiting.pop()
        end, left, stretch, boxes, todo, paid = state
        for item in known.items:
            mates = [
                near
                for near in item.near
                if near.form is end.form and near.part is not end.part and end.carries in near.takes
            ]
            allowed = Role.SPLITTER not in todo or item.role in (Role.SPLITTER, Role.ADAPTER)
            allowed &= item.role in todo or item.role not in (Role.MIXER, Role.AMPLIFIER)
            box = max(1, item.sockets) if item.powered and item.role is not Role.SPLITTER else 0
            if not mates or not allowed or boxes + box > most:
                continue
            for far in item.far:
                after = End(far.form, far.part, far.gives or end.carries)
                if start.carries.digital and end.carries.analog and after.carries.digital:
                    continue  # never made analog and digital again
                old, owed = (0.0, True) if item.powered else (stretch, not paid)
                reach = known.reaches.get(after.carries.signal)
                unaided = 0.0 if item.powered else item.length_m
                new = old + unaided + item.counts_as_m if reach else old
                if reach and new > reach.longest_m:
                    continue
                cost = max(1, item.cost // 4) if item.name in have else item.cost
                over = not owed or bool(reach and new > reach.usual_m)
                cost += LONG_STRETCH if over and owed else 0
                beside = min(left, run_m - left) <= BESIDE_M
                cost += MIDWAY if item.powered and not beside else 0
                rest = max(0.0, left - item.length_m)
                held = (after, rest, new, boxes + box, todo - {item.role}, over)
                if held not in made:
                    made.add_node(held)
                    waiting.append(held)
                if held != state and cost < made.get_edge_data(state, held, {"weight": 1 << 60})["weight"]:
                    made.add_edge(state, held, weight=cost)
    return made


def shortest(made: nx.DiGraph, known: Catalogue, start: object, name: DriverInput) -> int | None:
    """The cost of the shortest path to a state that can be plugged into the input."""
    goal = known.inputs[name]
    ends = [
        state
        for state in made
        if state != start
        and state[1] == 0
        and not state[4]
        and state[0].form is goal.form
        and state[0].part is not goal.part
        and state[0].carries in goal.takes
    ]
    if not ends:
        return None
    made.add_edges_from(((end, name) for end in ends), weight=0)
    cost = nx.shortest_path_length(made, start, name, weight="weight")
    made.remove_node(name)
    return int(cost)


@given(
    known=catalogues(),
    form=st.sampled_from(FORMS),
    carries=st.sampled_from(CARRIED),
    run_m=st.sampled_from([0.0, 1.5, 4.0, 7.0]),
    owned=st.sets(st.integers(0, 11)),
    need=st.sampled_from([frozenset(), frozenset({Role.SPLITTER}), frozenset({Role.ISOLATOR})]),
)
def test_the_cheapest_chain_is_the_shortest_path_of_networkx(
    known: Catalogue, form: Form, carries: Carried, run_m: float, owned: set[int], need: frozenset[Role]
) -> None:
    start = End(form, Part.SOCKET, carries)
    have = {f"item {number}" for number in owned}
    made = graph(known, start, run_m, have, need)
    found = chains(known, start, frozenset(known.inputs), run_m, frozenset(have), need)
    for name in known.inputs:
        expected = shortest(made, known, (start, run_m, 0.0, 0, need, False), name)
        assert (found[name].cost if name in found else None) == expected


@pytest.mark.parametrize("run_m", [1.5, 6.0, 12.0])
@pytest.mark.parametrize(
    "start",
    [
        End(Form.TOSLINK, Part.SOCKET, Carried.OPTICAL),
        End(Form.RCA_PAIR, Part.SOCKET, Carried.LINE),
        End(Form.HDMI, Part.SOCKET, Carried.ARC),
        End(Form.SCART, Part.SOCKET, Carried.LINE),
    ],
)
def test_the_shipped_catalogue_agrees_with_networkx_too(start: End, run_m: float) -> None:
    known = catalogue()
    made = graph(known, start, run_m, set(), frozenset())
    found = chains(known, start, frozenset(DriverInput), run_m)
    for name in DriverInput:
        expected = shortest(made, known, (start, run_m, 0.0, 0, frozenset(), False), name)
        assert (found[name].cost if name in found else None) == expected


def test_the_cheaper_way_to_an_end_is_not_taken_where_it_leaves_no_reach_for_the_rest() -> None:
    """A long cable to hand costs less, but with it the next one would be too far: both states must live."""
    light = frozenset({Carried.OPTICAL})

    def cable(name: str, to: Form, length_m: float, cost: int) -> Item:
        near = Near(Form.TOSLINK if to is Form.JACK_35 else Form.JACK_35, Part.PLUG, light)
        far = Far(to, Part.SOCKET if to is Form.JACK_35 else Part.PLUG, None)
        return Item(name, "a cable", Role.CABLE, (near,), (far,), cost, length_m=length_m)

    name = DriverInput.OPTICAL
    known = Catalogue(
        items=(
            cable("long", Form.JACK_35, 5.0, 5),
            cable("short", Form.JACK_35, 2.0, 10),
            cable("last", Form.RCA_PAIR, 3.0, 10),
        ),
        inputs={name: Input(name, Form.RCA_PAIR, Part.SOCKET, light, mono=False)},
        reaches={Signal.OPTICAL: Reach(Signal.OPTICAL, 6.0, 6.0, "drawn")},
        numbers={},
        priors={},
    )
    start = End(Form.TOSLINK, Part.SOCKET, Carried.OPTICAL)
    found = chains(known, start, frozenset({name}), 1.0)[name]
    assert [item.name for item in found.items] == ["short", "last"]
    made = graph(known, start, 1.0, set(), frozenset())
    assert shortest(made, known, (start, 1.0, 0.0, 0, frozenset(), False), name) == found.cost == 20


@given(known=catalogues(), run_m=st.sampled_from([0.0, 4.0]))
def test_a_chain_mates_plug_with_socket_all_the_way_and_never_comes_back(
    known: Catalogue, run_m: float
) -> None:
    start = End(Form.RCA_PAIR, Part.SOCKET, Carried.LINE)
    for name, chain in chains(known, start, frozenset(known.inputs), run_m).items():
        assert len(chain.ends) == len(chain.items) + 1
        for item, before, after in zip(chain.items, chain.ends, chain.ends[1:], strict=False):
            assert any(
                near.form is before.form and near.part is not before.part and before.carries in near.takes
                for near in item.near
            )
            assert any((far.form, far.part, far.gives or before.carries) == tuple(after) for far in item.far)
        goal = known.inputs[name]
        assert (chain.ends[-1].form, chain.ends[-1].fits) == (goal.form, goal.part)
        assert chain.length_m >= run_m
