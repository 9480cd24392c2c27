"""Where one scan's surface would lie inside the other's material: what no two scans of one solid part do.

Two views that overlap little can agree over more area in a wrong pose than in the right one (a plain side laid on the
side with a pin). But then the plain side runs through the foot of the pin. In seven trials with views of 60 % of a
part, the right pose had none of this, and every wrong one that fitted better had 0.1 % to 10 % of its points buried.
"""

import numpy as np

from verifier.comparing.cloud import Cloud
from verifier.comparing.pose import moved, turned
from verifier.comparing.refining import Target
from verifier.mesh import Array

# A point raised off its surface by this share of the part's size stands in the open, whatever the scatter.
RAISED_SHARE = 0.012
DEEP_SHARE = 0.15
# The more of a scan is buried in the other, the less the pose is believed: by e for each of this share.
BURIED_SHARE = 0.004
# Beneath the opposite face of a wall every point lies: that is thickness, not a contradiction.
OPPOSED = -0.5


def buried_share(
    moving: Cloud, target: Target, pose: Array, size_mm: float, raised_share: float = RAISED_SHARE
) -> float:
    """Share of the moving points that stick in the fixed material, 0 to 1.

    raised_share : more for a pose that is still some way off

    A point counts when, raised off its own surface, it is still right behind a fixed surface that does not face the
    other way. Beside a convex edge, where only one of two faces was scanned, the raised point is past the edge.
    """
    raised = max(raised_share * size_mm, 2.0 * target.cloud.spacing_mm)
    normals = turned(pose, moving.normals)
    places = moved(pose, moving.points_mm) + raised * normals
    _, index = target.tree.query(places)
    fixed_normals = target.cloud.normals[index]
    apart = places - target.cloud.points_mm[index]
    away = np.einsum("nj,nj->n", apart, fixed_normals)
    aside = np.sqrt(np.maximum(np.einsum("nj,nj->n", apart, apart) - away**2, 0.0))
    behind = (away < -0.5 * raised) & (away > -DEEP_SHARE * size_mm)
    beneath = aside < max(1.2 * target.cloud.spacing_mm, 0.5 * raised)
    return float(np.mean(behind & beneath & (np.einsum("nj,nj->n", normals, fixed_normals) > OPPOSED)))
