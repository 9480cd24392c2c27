"""Features of the true copy against closed forms, and against features found anew on it."""

import numpy as np
import pytest

from inbox_demo import simulated
from inbox_demo.simulated import Shape, bore, cut, disc, intersect, slab, tapered_bar, unite
from verifier.correcting import copied_features, true_copy
from verifier.correcting.correction import Correction, Term
from verifier.finding import find_features
from verifier.mending.solid import Solid
from verifier.mesh import Mesh

COAT_MM, INSIDE_MM, SCALE = 0.06, 0.02, 1.004


def lever_scan() -> Solid:
    def distance(p):
        body = intersect(tapered_bar(p, (0, 0), (60, 0), 14.0, 10.0), slab(p[:, 2], 0.0, 8.0))
        hub = intersect(disc(p, (0, 0), 11.0), slab(p[:, 2], 4.0, 12.0))
        return cut(cut(unite(body, hub), bore(p, (0, 0), 10.0)), bore(p, (60, 0), 6.0))

    shape = Shape("latch_lever", distance, (-15, -15, -1), (71, 15, 13))
    made = simulated.scan(shape, seed=311, spacing_mm=0.9, white_mm=0.01, correlated_mm=0.0)
    return Solid(Mesh(made.vertices_mm, made.faces), np.zeros(len(made.faces), dtype=np.uint8))


def correction(*, applied: bool) -> Correction:
    terms = (Term(SCALE, 0.0005, applied, ""), Term(COAT_MM, 0.01, applied, ""), Term(INSIDE_MM, 0.01, applied, ""))
    return Correction(*terms, np.eye(3), (), 0.0, 1, separable=True)


@pytest.fixture(scope="module")
def solid():
    return lever_scan()


@pytest.fixture(scope="module")
def found(solid):
    return find_features(solid)


def test_where_nothing_is_taken_off_every_feature_stays(found):
    copied = copied_features(found, correction(applied=False))
    assert [bore.diameter_mm for bore in copied.bores] == [bore.diameter_mm for bore in found.bores]
    assert np.array_equal(copied.planes[0].centre_mm, found.planes[0].centre_mm)


def test_they_are_what_finding_would_find_on_the_true_copy(solid, found):
    wanted = correction(applied=True)
    copied, anew = copied_features(found, wanted), find_features(true_copy(solid, wanted, found))
    # Taking the coat off smooths the normals it goes along: a hundredth of a millimetre.
    assert [c.diameter_mm for c in copied.cylinders] == pytest.approx([c.diameter_mm for c in anew.cylinders], abs=0.01)
    assert [e.length_mm for e in copied.extents] == pytest.approx([e.length_mm for e in anew.extents], abs=0.02)
    assert copied.planes[0].offset_mm == pytest.approx(anew.planes[0].offset_mm, abs=0.01)
    for here, there in zip(copied.cylinders, anew.cylinders, strict=True):
        assert np.linalg.norm(np.cross(here.axis_point_mm - there.axis_point_mm, there.axis)) < 0.01


def test_a_bore_is_wider_and_the_part_shorter_without_its_powder(found):
    copied = copied_features(found, correction(applied=True))
    assert copied.bores[0].diameter_mm == pytest.approx((found.bores[0].diameter_mm + 2 * INSIDE_MM) / SCALE, abs=1e-12)
    assert copied.extents[0].length_mm == pytest.approx((found.extents[0].length_mm - 2 * COAT_MM) / SCALE, abs=1e-12)
    ends = copied.extents[0].ends_mm
    along = float((ends[1] - ends[0]) @ copied.extents[0].direction)
    assert along == pytest.approx(copied.extents[0].length_mm, abs=1e-9)
