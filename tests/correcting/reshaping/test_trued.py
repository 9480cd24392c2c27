"""Flat faces made truly flat."""

import numpy as np

from tests.correcting.reshaping.shapes import made
from verifier.mending.check import judge_as_written


def test_every_flat_face_is_flat_afterwards() -> None:
    part = made("draw_bar", {"do": "true up"})
    assert part.after.told[0].made
    for plane in part.found.planes:
        corners = part.mesh.vertices_mm[np.unique(part.mesh.faces[plane.faces])]
        heights = corners @ plane.normal
        before = part.before.mesh.vertices_mm[np.unique(part.before.mesh.faces[plane.faces])] @ plane.normal
        assert np.quantile(np.abs(heights - np.median(heights)), 0.98) < 2e-5, plane.name
        # The face lies where its own middle was: the mean over its corners stays within a tenth of the scatter.
        assert abs(heights.mean() - before.mean()) < 0.005
    assert judge_as_written(part.mesh).sound


def test_only_the_named_face_moves() -> None:
    part = made("draw_bar", {"do": "true up", "what": ("plane 1",)})
    moved = np.flatnonzero((part.mesh.vertices_mm != part.before.mesh.vertices_mm).any(axis=1))
    assert np.isin(moved, part.before.mesh.faces[part.found.planes[0].faces]).all()
    assert len(moved) > 1000
