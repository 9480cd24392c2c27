"""The piece of table or turntable round the foot of a small part, told by what no face of a solid is like.

     part
    |    |          it faces the scanner, it ends where the scan ends, the part rises from it,
____|    |____      and nothing at all was seen below it
    table
"""

import numpy as np

from verifier.joining.trimming import mean_normal
from verifier.mending.edges import pair_edges
from verifier.mesh import Array, BoolArray, IntArray, Mesh

# Faces within this of the plane belong to it: scatter, and the blend that a scan draws into the corner at the foot.
BAND_MM = 0.35
# A table's faces look along its normal but for their roughness (25 degrees).
ALONG = 0.9
# The mean way a view faces is this near the table's normal: 45 degrees.
UPRIGHT = 0.7
# Share of the scan's border that runs in the plane.
LEAST_BORDER = 0.06
# Spikes and specks that may lie below.
STRAY_SHARE, BELOW_MM = 0.002, 0.6
# What rises from it has at least this share of its surface, and at least this height.
LEAST_RISEN, LEAST_RISE_MM = 0.35, 2.0
STEPS = 6


def table_faces(mesh: Mesh, chosen: BoolArray, vectors_mm2: Array) -> BoolArray:
    """Which of the chosen faces are table, (m,); none where the scan shows none.

    vectors_mm2 : (m, 3) normals of the faces as long as twice their area
    """
    none = np.zeros(len(mesh.faces), dtype=bool)
    middles = mesh.vertices_mm[mesh.faces].mean(axis=1)
    lengths = np.maximum(np.linalg.norm(vectors_mm2, axis=1), 1e-300)
    normals = vectors_mm2 / lengths[:, None]
    border = _border_faces(mesh, chosen)
    facing = border[normals[border] @ mean_normal(vectors_mm2, chosen) > UPRIGHT]
    if len(facing) < LEAST_BORDER * len(border) or len(facing) < 20:
        return none
    at, up = _lowest_plane(middles[facing], vectors_mm2[facing])
    heights = (middles - at) @ up
    on = np.abs(heights) < BAND_MM
    in_plane = on & (normals @ up > ALONG) & chosen
    if not _is_table(heights, in_plane, on, border, lengths, chosen):
        return none
    return np.asarray(on & chosen)


def _is_table(
    heights_mm: Array, in_plane: BoolArray, on: BoolArray, border: IntArray, areas: Array, chosen: BoolArray
) -> bool:
    below = chosen & (heights_mm < -BELOW_MM)
    risen = chosen & (heights_mm > LEAST_RISE_MM)
    return bool(
        on[border].mean() > LEAST_BORDER
        and areas[below].sum() < STRAY_SHARE * areas[chosen].sum()
        and areas[risen].sum() > LEAST_RISEN * areas[in_plane].sum() > 0.0
    )


def _border_faces(mesh: Mesh, chosen: BoolArray) -> IntArray:
    """Faces with a side that no other face has, once for every such side."""
    faces = np.flatnonzero(chosen)
    edges = pair_edges(mesh.faces[faces], len(mesh.vertices_mm))
    return np.asarray(faces[edges.border // 3])


def _lowest_plane(points_mm: Array, vectors_mm2: Array) -> tuple[Array, Array]:
    """A point of the plane that most of the lowest of these faces lie in, and its normal."""
    up = vectors_mm2.sum(axis=0)
    up /= np.linalg.norm(up)
    heights = points_mm @ up
    near = heights <= np.quantile(heights, 0.5)  # all of them, where there is no scatter and none lies lower
    at = points_mm[near].mean(axis=0)
    for _ in range(STEPS):
        at = np.median(points_mm[near], axis=0)
        centred = points_mm[near] - points_mm[near].mean(axis=0)
        at = points_mm[near].mean(axis=0)
        normal = np.linalg.svd(centred, full_matrices=False)[2][2]
        up = normal * np.sign(normal @ up)
        heights = (points_mm - at) @ up
        reach = max(BAND_MM, 2.0 * 1.4826 * float(np.median(np.abs(heights[near]))))
        chosen = np.abs(heights) < reach
        if chosen.sum() < 10:
            break
        near = chosen
    return at, up
