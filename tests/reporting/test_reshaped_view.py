"""What the page shows of a part that the sheet has reshaped."""

from types import SimpleNamespace

import numpy as np
from scipy.spatial import cKDTree

from tests.correcting.reshaping.shapes import made
from verifier.reporting.reshaped_view import APART, reshaped_view


def test_callouts_follow_a_mirrored_and_cut_part_whose_pieces_stand_apart() -> None:
    bar = made("draw_bar", {"do": "mirror"}, {"do": "cut", "between": ("front", "rear"), "at": (45.0,)})
    plan = SimpleNamespace(reshaping=bar.after, up_on_copy=bar.after.up)
    view = reshaped_view(bar.after.solid, plan, bar.sizes)
    assert view is not None
    surface = cKDTree(view.mesh.vertices_mm)
    for size, points in zip(bar.sizes, view.points_mm, strict=True):
        if size.name in ("front", "rear"):
            # Both ends of a diameter lie on the bore's wall, between corners 0.6 mm apart.
            assert surface.query(points)[0].max() < 0.6, size.name
    # The middles of the two halves of 110 mm lie about 55 mm apart, and go APART of that farther.
    front, rear = (
        next(p for s, p in zip(bar.sizes, view.points_mm, strict=True) if s.name == n) for n in ("front", "rear")
    )
    apart_mm = np.linalg.norm(front.mean(axis=0) - rear.mean(axis=0)) - 90.0
    assert abs(apart_mm - APART * 55.0) < 2.0
    assert float(view.turn[2] @ bar.after.up) > 0.5


def test_a_part_that_is_not_reshaped_is_shown_where_it_was_scanned() -> None:
    bar = made("draw_bar")
    assert reshaped_view(bar.after.solid, SimpleNamespace(reshaping=bar.after), bar.sizes) is None
