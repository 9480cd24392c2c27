"""Finding and measuring joined, on simulated scans whose sizes are known exactly."""

import numpy as np
import pytest

from inbox_demo import simulated
from verifier.finding import find_features
from verifier.measuring import measure
from verifier.mending import Solid
from verifier.mesh import Mesh

from .parts import RULES, row, sheet

SCALE, COAT_MM = 1.006, 0.06
LEVER = (
    ("length", "overall", {"along": "length"}),
    ("width", "overall", {"along": "width"}),
    ("body", "thickness", {}),
    ("hub step", "step", {"gauged": "depth rod"}),
    ("hub", "boss", {}),
    ("pivot", "bore", {}),
    ("pin", "bore", {}),
    ("pivot to pin", "centre distance", {"between": ["pivot", "pin"]}),
    ("pin to flank", "edge distance", {"of": "pin"}),
    ("flanks", "angle", {}),
)
CLIP = (
    ("length", "overall", {"along": "length"}),
    ("plate", "thickness", {}),
    ("lug", "thickness", {}),
    ("lug step", "step", {"gauged": "depth rod"}),
    ("screw", "bore", {}),
    ("nail", "bore", {}),
    ("wire", "bore", {}),
    ("screw to nail", "centre distance", {"between": ["screw", "nail"]}),
    ("screw to wire", "centre distance", {"between": ["screw", "wire"]}),
    ("nail to wire", "centre distance", {"between": ["nail", "wire"]}),
    ("screw to end", "edge distance", {"of": "screw"}),
)


@pytest.mark.parametrize(("shape", "asked"), [(simulated.latch_lever(), LEVER), (simulated.fence_clip(), CLIP)])
def test_every_row_of_a_simulated_scan_is_found_and_stands_by_its_true_size(shape, asked):
    scanned = simulated.scan(shape, seed=5, scale=SCALE, coat_mm=COAT_MM)
    mesh = Mesh(scanned.vertices_mm.astype(np.float64), scanned.faces.astype(np.int64))
    features = find_features(Solid(mesh, np.zeros(len(mesh.faces), np.uint8)))
    rows = [row(name, kind, shape.truth[name], **more) for name, kind, more in asked]
    for (name, kind, _), size in zip(asked, measure(features, sheet(*rows), RULES), strict=True):
        true = shape.truth[name] if kind == "angle" else SCALE * shape.truth[name] + size.walls * COAT_MM
        # A tenth of the point spacing of 0.5 mm, for scatter of 0.021 mm; the angle over flanks of 59 mm by 8 mm.
        assert size.measured_mm == pytest.approx(true, abs=0.05), size
        assert size.alternatives_mm == (), size
