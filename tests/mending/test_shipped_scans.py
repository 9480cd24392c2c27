"""The two scans that come with pymeshfix, read where it is installed: they are not copied here, for their licence."""

from importlib import resources

import numpy as np
import pytest
import trimesh
from faults import scan_of
from test_mend import euler

from verifier.mending import mend
from verifier.mending.check import judge_as_written
from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Mesh, extents_mm


def shipped(name: str) -> Mesh:
    with resources.as_file(resources.files("pymeshfix") / "examples" / name) as path:
        loaded = trimesh.load(path, process=False)
    return Mesh(np.array(loaded.vertices, dtype=np.float64), np.array(loaded.faces, dtype=np.int64))


@pytest.mark.parametrize("name", ["StanfordBunny.ply", pytest.param("planar_mesh.ply", marks=pytest.mark.long)])
def test_a_shipped_scan_is_closed_and_keeps_its_extents(name):
    """Repairing planar_mesh.ply as a whole with pymeshfix 0.18.1 takes 2.3 mm off its length."""
    mesh = shipped(name)
    solid = mend(scan_of(mesh))
    assert judge_as_written(solid.mesh).sound
    assert euler(solid) == 2
    assert len(crossing_pairs(solid.mesh)) == 0
    assert np.abs(extents_mm(solid.mesh) - extents_mm(mesh)).max() < 0.01


def test_a_sheet_seen_from_one_side_is_backed_and_half_of_it_is_said_to_be_unseen():
    solid = mend(scan_of(shipped("planar_mesh.ply")))
    assert "Backed a sheet seen from one side" in [step.what for step in solid.steps]
    assert solid.filled_share > 0.5
