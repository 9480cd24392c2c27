"""A part scanned on its table, from above: flange around it, table seen through its bores, no underside."""

import faults
import numpy as np
import pytest
from test_mend import euler, steps

from verifier.mending import Origin, mend


@pytest.mark.parametrize("pose", [None, 1, 2])
def test_the_table_is_taken_away_and_the_bores_stay_open(part, pose):
    mesh = faults.on_a_table(part.mesh, 5.0)
    solid = mend(faults.scan_of(mesh if pose is None else faults.turned(mesh, np.random.default_rng(pose))))
    assert {"Removed support surface", "Closed the underside where it stood"} <= set(steps(solid))
    assert "Left faces that cross each other" not in steps(solid)
    assert euler(solid) == part.euler
    # The scatter of 0.01 mm decides where the table's plane is fitted: 0.003 mm of the underside's 590 or 270 mm2.
    assert solid.volume_mm3 == pytest.approx(faults.above_the_table_mm3(part.mesh), abs=2.0)
    assert solid.origin.tolist().count(Origin.FILLED) > 0


def test_a_part_without_a_table_is_not_cut(part):
    """A hole in its top: the faces around look up too, but the part lies below them."""
    top = part.mesh.vertices_mm[part.mesh.vertices_mm[:, 2].argmax()]
    solid = mend(faults.scan_of(faults.with_hole(part.mesh, top, 2.0)))
    assert "Removed support surface" not in steps(solid)
    assert euler(solid) == part.euler
