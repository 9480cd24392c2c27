"""Faces around a hole that takes an edge, a bore or a wall are led on until they meet; what does not fit stays open."""

import faults
import igl
import manifold3d
import numpy as np
import pytest
from test_mend import euler, rows, steps

from verifier.mending import Solid, leading, mend
from verifier.mending.crossings import crossing_pairs
from verifier.mending.draft import Draft
from verifier.mending.form_finding import forms_in
from verifier.mending.forms import Flat, Round, patches_of
from verifier.mending.leading import LED_ON, lead_faces_on
from verifier.mesh import Mesh, face_vectors_mm2

# Part, middle of the ball that takes the surface, its width, mm3 that the part may change by: a strip of half a
# millimetre along the rims, rounded by half its width where a face ends.
HOLES = {
    "bore cut through sideways": (faults.latch_lever, (31.0, 9.7, 4.6), 7.8, 1.0),
    "wall between a bore and the outside": (faults.latch_lever, (3.9, 7.2, 5.0), 12.6, 2.0),
    "bore gone but for a sliver": (faults.latch_lever, (10.2, 10.6, 0.0), 12.8, 2.0),
    "both faces of a plate, one over the other": (faults.latch_lever, (15.6, 9.0, 2.5), 8.0, 1.0),
    "rib cut in two": (faults.latch_lever, (15.0, 1.5, 8.0), 7.0, 1.0),
    "corner of a web": (faults.fence_clip, (13.6, 5.5, 8.3), 5.8, 1.0),
    "end of an arm": (faults.pump_rocker, (24.0, 0.9, 2.7), 10.6, 2.0),
    # It ends where the hole does, not where the plate does: at most 0.4 mm too far out, 4 mm2 of it.
    "end of a rib that nobody saw": (faults.latch_lever, (6.1, 1.6, 7.2), 8.0, 2.5),
    "end of a fork, with three rims": (faults.fence_clip, (22.6, 0.7, 3.0), 13.2, 2.5),
    # 0.2 mm off over 80 mm2: a rounding led on by chords.
    "both faces of a shell, in its corner": (faults.seat_armrest, (3.9, 8.2, 6.5), 11.0, 20.0),
    "tip of an arm, from both sides of its bore": (faults.fence_clip, (25.3, 8.6, 0.0), 18.0, 3.0),
}


LONG = (
    "bore gone but for a sliver",
    "rib cut in two",
    "end of an arm",
    "end of a fork, with three rims",
    "both faces of a shell, in its corner",
    "tip of an arm, from both sides of its bore",
)


def led_on(part: faults.Part, holed: Mesh, mm3: float) -> Solid:
    """The part with a wide hole, mended by leading its faces on: all bores, nothing crossing, its volume within mm3."""
    solid = mend(faults.scan_of(holed))
    assert steps(solid)[LED_ON] == 1
    assert euler(solid) == part.euler
    assert len(crossing_pairs(solid.mesh)) == 0
    assert solid.volume_mm3 == pytest.approx(part.volume_mm3, abs=mm3)
    return solid


@pytest.mark.parametrize("case", [pytest.param(c, marks=[pytest.mark.long] * (c in LONG)) for c in HOLES])
def test_a_wide_hole_over_an_edge_leaves_every_bore_open_and_every_wall_standing(case):
    make, at, across_mm, mm3 = HOLES[case]
    part = make()
    holed = faults.with_hole(part.mesh, np.array(at), across_mm)
    solid = led_on(part, holed, mm3)
    for places, is_material in ((part.in_bores_mm, False), (part.in_walls_mm, True)):
        winding = igl.fast_winding_number(solid.mesh.vertices_mm, solid.mesh.faces, np.array(places))
        assert ((winding > 0.5) == is_material).all()
    lost = rows(holed.vertices_mm[np.unique(holed.faces)]) - rows(solid.mesh.vertices_mm)
    assert len(lost) <= 3 * steps(solid).get("Removed debris", 0)  # three crumbs of a face or two


def test_a_wide_hole_in_a_flat_is_left_to_the_skin():
    part = faults.latch_lever()
    holed = faults.with_hole(part.mesh, np.array([15.5, 9.0, 5.0]), 5.0)
    draft = Draft(holed, np.zeros(len(holed.faces), dtype=np.uint8))
    assert lead_faces_on(draft) is draft


def test_a_scan_of_no_flats_and_no_round_walls_is_left_as_it_is():
    """An egg: each of its bands is within 0.1 mm of a cylinder, and none of those goes on beyond it."""
    ball = manifold3d.Manifold.sphere(1.0, 100).scale((9.0, 7.0, 12.0)).to_mesh64()
    egg = Mesh(np.array(ball.vert_properties)[:, :3], np.array(ball.tri_verts).astype(np.int64))
    holed = faults.with_hole(egg, np.array([9.0, 0.0, 0.0]), 8.0)
    draft = Draft(holed, np.zeros(len(holed.faces), dtype=np.uint8))
    assert lead_faces_on(draft) is draft


def test_flats_and_a_bore_are_found_in_scatter_with_their_sizes():
    """Scatter of 0.03 mm; the bore of 4 mm is seen for a millimetre of its depth."""
    part = faults.latch_lever()
    at = part.mesh.vertices_mm + np.random.default_rng(3).normal(0.0, 0.03, part.mesh.vertices_mm.shape)
    holed = faults.with_hole(Mesh(at, part.mesh.faces), np.array([32.0, 8.0, 0.0]), 8.0)
    near = np.abs(faults.middles(holed) - [32.0, 8.0, 2.5]).max(axis=1) < 6.0
    beside = Mesh(holed.vertices_mm, holed.faces[near])
    forms = forms_in(patches_of(faults.middles(beside), face_vectors_mm2(beside), 0.5))
    (bore,) = (form for form in forms if isinstance(form, Round) and form.outward < 0)
    assert bore.radius_mm == pytest.approx(2.0, abs=0.03)
    assert np.hypot(*(bore.at_mm[:2] - [32.0, 8.0])) < 0.03
    heights = [
        form.at_mm[2] * form.normal[2] for form in forms if isinstance(form, Flat) and abs(form.normal[2]) > 0.99
    ]
    assert sorted(heights) == pytest.approx([0.0, 5.0], abs=0.03)


def test_a_wide_hole_whose_forms_leave_no_surface_is_filled_like_any(monkeypatch):
    """All that lies around may count as air: nothing is led on then, and nothing breaks."""
    monkeypatch.setattr(leading, "contour", lambda *_: Mesh(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64)))
    part = faults.latch_lever()
    solid = mend(
        faults.scan_of(faults.with_hole(part.mesh, part.mesh.vertices_mm[part.mesh.vertices_mm[:, 2].argmax()], 8.0))
    )
    assert LED_ON not in steps(solid)
    assert "Filled holes" in steps(solid)
