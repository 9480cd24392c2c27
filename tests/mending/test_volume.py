"""A change of what is inside has its reason told, also where no size changes; without a reason it is refused."""

import sys

import faults
import manifold3d
import numpy as np
import pytest

from verifier.errors import CannotMend
from verifier.mending import mend
from verifier.mending.draft import Draft
from verifier.mending.volume import LEAST_PLACES, PLACES
from verifier.mesh import Mesh

PLATE_MM = (40.0, 24.0, 8.0)
POCKET_FLOOR_MM = 2.0
# A scatter of so many places goes untold, and the edge of what is told scatters by as much.
LEAST_MM3 = LEAST_PLACES * float(np.prod(PLATE_MM)) / PLACES


def mesh_of(solid: manifold3d.Manifold) -> Mesh:
    made = solid.refine_to_length(0.8).to_mesh64()
    return Mesh(np.array(made.vert_properties)[:, :3], np.array(made.tri_verts).astype(np.int64))


def plate_with_pocket() -> manifold3d.Manifold:
    pocket = manifold3d.Manifold.cube((24.0, 16.0, 8.0)).translate((8.0, 4.0, POCKET_FLOOR_MM))
    return manifold3d.Manifold.cube(PLATE_MM) - pocket


def with_loose_pin(radius_mm: float, height_mm: float) -> Mesh:
    """A pin in the pocket whose foot was not seen: a ring of floor around it is missing, and its lowest 0.3 mm."""
    pin = mesh_of(manifold3d.Manifold.cylinder(height_mm + 1.0, radius_mm, circular_segments=48))
    pin = Mesh(pin.vertices_mm + np.array([20.0, 12.0, POCKET_FLOOR_MM - 1.0]), pin.faces)
    pin = Mesh(pin.vertices_mm, pin.faces[pin.corners_mm[:, :, 2].min(axis=1) > POCKET_FLOOR_MM + 0.3])
    plate = mesh_of(plate_with_pocket())
    off = np.hypot(*(faults.middles(plate)[:, :2] - np.array([20.0, 12.0])).T)
    under = (off < radius_mm + 0.5) & (faults.middles(plate)[:, 2] > POCKET_FLOOR_MM - 0.1)
    plate = Mesh(plate.vertices_mm, plate.faces[~under])
    return beside(plate, pin)


def beside(one: Mesh, other: Mesh) -> Mesh:
    faces = np.concatenate([one.faces, len(one.vertices_mm) + other.faces])
    return Mesh(np.concatenate([one.vertices_mm, other.vertices_mm]), faces)


def test_a_pin_thrown_away_as_debris_is_told_with_its_volume_though_no_size_changes():
    """The pin's surface is under a hundredth of the part's, and it ends below the rim of its pocket."""
    solid = mend(faults.scan_of(with_loose_pin(1.6, 2.8)))
    (change,) = solid.volume_changes
    assert change.volume_mm3 == pytest.approx(-np.pi * 1.6**2 * 2.8, abs=LEAST_MM3)
    assert "Removed debris" in change.reasons
    assert np.abs(np.array(change.at_mm) - np.array([20.0, 12.0, 3.4])).max() < 1.0
    assert "were taken away at (" in change.sentence


def test_a_body_that_gets_lost_without_a_word_is_refused(monkeypatch):
    """It lies within the other's box: no overall size tells of it, and what is left is a sound solid."""
    block = mesh_of(manifold3d.Manifold.cube((12.0, 8.0, 4.0)).translate((14.0, 8.0, POCKET_FLOOR_MM + 1.0)))
    both = beside(mesh_of(plate_with_pocket()), block)
    assert mend(faults.scan_of(both)).volume_changes == ()

    def losing(draft: Draft) -> Draft:
        return draft.without(draft.pieces[1] == 1)

    monkeypatch.setattr(sys.modules["verifier.mending.mend"], "tell_bodies", losing)
    with pytest.raises(CannotMend) as refused:
        mend(faults.scan_of(both))
    assert "were taken away at (20" in refused.value.what
    assert "no step accounts for it" in refused.value.what


@pytest.mark.parametrize("spoil", [faults.inside_out, lambda mesh: faults.in_two_passes(mesh, 0.1)])
def test_what_only_looked_the_wrong_way_or_was_seen_twice_changes_no_volume(spoil):
    assert mend(faults.scan_of(spoil(faults.pump_rocker().mesh))).volume_changes == ()


def test_debris_far_away_and_large_flat_faces_are_no_change():
    """Twelve faces of a box, each as long as the part, and specks a hundred times as far as it is long."""
    box = manifold3d.Manifold.cube(PLATE_MM).to_mesh64()
    plain = Mesh(np.array(box.vert_properties)[:, :3], np.array(box.tri_verts).astype(np.int64))
    speck = manifold3d.Manifold.cube((0.3, 0.3, 0.3)).translate((4000.0, 0.0, 0.0)).to_mesh64()
    far = Mesh(np.array(speck.vert_properties)[:, :3], np.array(speck.tri_verts).astype(np.int64))
    solid = mend(faults.scan_of(beside(plain, far)))
    assert solid.volume_changes == ()
    assert len(solid.mesh.faces) == 12
