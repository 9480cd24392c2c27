import numpy as np
import pytest

from tests.joining import views
from tests.joining.test_laid_together import scan_of
from verifier.errors import CannotJoin
from verifier.joining.two_sides import place_two_sides
from verifier.mesh import Mesh, face_areas_mm2

# A fifth of the triangles of a real scan: the rim at 2 mm spacing, the face at 12 mm.
QUICK = {"spacing_mm": 1.6, "inner_mm": 12.0, "past_rim_mm": 2.4, "noise_mm": 0.05, "warp_mm": 0.15}


def two_views(part: views.Large, seed: int, **fault: float) -> tuple[views.View, views.View]:
    rng = np.random.default_rng(seed)
    how = views.random_fault(rng, **(QUICK | fault))
    return views.view(part, 1, how, rng), views.view(part, -1, how, rng)


def placed(first: views.View, second: views.View):
    return place_two_sides(*(scan_of(Mesh(view.vertices_mm, view.faces)) for view in (first, second)), None)


@pytest.mark.parametrize("part", [views.seat_panel(), views.mudguard()], ids=lambda part: part.name)
def test_two_sides_of_a_large_part_come_together_within_a_millimetre(part):
    first, second = two_views(part, seed=31)
    found = placed(first, second)
    turn_deg, away_mm = views.errors(found.taken.poses[1], first, second, part)
    assert turn_deg < 0.2
    assert away_mm < 1.0
    assert found.sure


def test_the_skirt_is_cut_off_and_the_part_is_not():
    first, second = two_views(views.seat_panel(), seed=32)
    found = placed(first, second)
    for view, kept in zip((first, second), found.keep_faces, strict=True):
        area = face_areas_mm2(Mesh(view.vertices_mm, view.faces))
        assert area[kept & ~view.is_part].sum() < 0.05 * area[~view.is_part].sum()
        assert area[~kept & view.is_part].sum() < 0.001 * area[view.is_part].sum()


def test_sides_that_stop_short_of_the_rim_are_refused_with_that_sentence():
    first, second = two_views(views.seat_panel(), seed=33, past_rim_mm=-3.0, skirt_share=0.0)
    with pytest.raises(CannotJoin, match="do not overlap") as refused:
        placed(first, second)
    assert "100 to 200 mm" in refused.value.do
