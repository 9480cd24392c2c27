"""What changed between two scans of one part."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from verifier.remembering.changes import MEANINGS, Seen, changes
from verifier.rulebook.size_kinds import SizeKind

SIZES = [
    ("length", "overall", 84.0), ("pivot", "bore", 10.0), ("pin", "bore", 6.0), ("body", "thickness", 8.0),
    ("pivot to pin", "centre distance", 60.0), ("hub", "boss", 22.0),
]  # fmt: skip


def scan(rng, u=0.012, **worn):
    return [
        Seen(name, kind, value + worn.get(name.replace(" ", "_"), 0.0) + rng.normal(0, u), u)
        for name, kind, value in SIZES
    ]


def test_a_worn_bore_and_a_bent_lever_are_told_apart():
    rng = np.random.default_rng(61)
    found = {change.name: change for change in changes(scan(rng), scan(rng, pivot=0.25, pivot_to_pin=-0.4))}
    assert {name for name, change in found.items() if change.real} == {"pivot", "pivot to pin"}
    assert found["pivot"].meaning == "worn wider"
    assert found["pivot to pin"].meaning == "bent"
    assert abs(found["pivot"].by - 0.25) <= found["pivot"].expanded_u


def test_an_unchanged_part_is_called_changed_as_seldom_as_promised():
    rng = np.random.default_rng(62)
    alarms = sum(any(change.real for change in changes(scan(rng), scan(rng))) for _ in range(1000))
    assert alarms <= 20  # 1 % of 1000 are 10; 21 or more come by chance once in a thousand


@given(st.integers(0, 1000), st.floats(0.05, 0.5))
def test_the_other_way_round_every_change_is_the_opposite(seed, worn):
    rng = np.random.default_rng(seed)
    before, after = scan(rng), scan(rng, pivot=worn)
    there, back = changes(before, after), changes(after, before)
    assert [(a.by, a.real) for a in there] == [(-b.by, b.real) for b in back]


def test_rows_of_one_scan_alone_are_left_out():
    rng = np.random.default_rng(63)
    assert [change.name for change in changes(scan(rng)[:2], scan(rng)[1:])] == ["pivot"]
    assert changes([], scan(rng)) == ()


def test_every_kind_of_size_has_its_meaning():
    assert set(MEANINGS) == set(SizeKind.__args__)
