from functools import cache

import numpy as np
import pytest

from inbox_demo import simulated
from inbox_demo.simulated import Shape, bore, cut, disc, intersect, slab, tapered_bar, unite
from verifier.comparing.changes import Seen
from verifier.comparing.compared import Compared, compare
from verifier.comparing.reference import Reference
from verifier.finding import find_features
from verifier.finding.feature import Features
from verifier.mending.solid import Solid
from verifier.mesh import Mesh


def lever(*, pin_mm: float = 6.0, height_mm: float = 12.0, length_mm: float = 60.0) -> Shape:
    """The latch lever, worn: a wider pin bore, a hub rubbed lower, or bores moved apart."""

    def distance(p):
        body = intersect(tapered_bar(p, (0, 0), (60, 0), 14.0, 10.0), slab(p[:, 2], 0.0, 8.0))
        hub = intersect(disc(p, (0, 0), 11.0), slab(p[:, 2], 4.0, height_mm))
        return cut(cut(unite(body, hub), bore(p, (0, 0), 10.0)), bore(p, (length_mm, 0), pin_mm))

    return Shape("latch_lever", distance, (-15, -15, -1), (71, 15, 13))


@cache
def scanned(seed: int, **worn: float) -> tuple[Solid, Features]:
    made = simulated.scan(lever(**worn), seed=seed, spacing_mm=0.9, white_mm=0.015, correlated_mm=0.01)
    solid = Solid(Mesh(made.vertices_mm, made.faces), np.zeros(len(made.faces), dtype=np.uint8))
    return solid, find_features(solid)


def compared(before: tuple[Solid, Features], after: tuple[Solid, Features], u_scale: float = 0.0) -> Compared:
    return compare(after[0], Seen(after[1], u_scale), Reference("the lever as it was", *before))


@pytest.fixture(scope="module")
def fresh():
    return scanned(61)


def test_two_scans_of_one_part_show_no_change(fresh):
    told = compared(fresh, scanned(62))
    assert told.deviation.alignment.sure
    assert {row.what for row in told.changes} >= {"diameter", "centre distance", "worn", "tilt"}
    assert [row for row in told.changes if row.significant] == []


def test_a_grown_bore_and_a_rubbed_face_are_named_with_how_much_and_nothing_else_is(fresh):
    told = compared(fresh, scanned(63, pin_mm=6.3, height_mm=11.8))
    found = {row.what: row for row in told.changes if row.significant}
    assert found.keys() == {"diameter", "worn"}
    assert found["diameter"].change == pytest.approx(0.3, abs=3 * found["diameter"].u)
    assert found["worn"].change == pytest.approx(0.2, abs=3 * found["worn"].u)
    # Significant at 0.01 over a dozen rows wants three standard uncertainties, so these say something.
    assert max(row.u for row in found.values()) < 0.03


def test_bores_that_moved_apart_show_in_their_distance(fresh):
    rows = compared(fresh, scanned(64, length_mm=60.2)).changes
    (row,) = (row for row in rows if row.name in ("bore 1 to bore 2", "bore 2 to bore 1"))
    assert row.significant
    assert row.change == pytest.approx(0.2, abs=3 * row.u)


def test_a_scale_nobody_knows_hides_a_change_of_that_size(fresh):
    rows = compared(fresh, scanned(64, length_mm=60.2), u_scale=0.005).changes
    assert not any(row.significant for row in rows if row.what == "centre distance")


def test_a_filled_bore_is_gone_and_a_drilled_one_new(fresh):
    told = compared(fresh, scanned(65, pin_mm=8.5))
    assert {row.what for row in told.changes if row.what in ("gone", "new")} == {"gone", "new"}
