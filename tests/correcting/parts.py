"""Bodies of known shape and the features a scan of them would show, for the tests of printing."""

from collections.abc import Sequence

import manifold3d
import numpy as np

from verifier.finding.feature import Cylinder, Extent, Features, Noise, Plane
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh

NO_FACES = np.zeros(0, dtype=np.int64)


def as_mesh(body: manifold3d.Manifold) -> Mesh:
    raw = body.to_mesh()
    return Mesh(np.asarray(raw.vert_properties[:, :3], dtype=float), np.asarray(raw.tri_verts, dtype=np.int64))


def as_solid(mesh: Mesh) -> Solid:
    return Solid(mesh, np.zeros(len(mesh.faces), dtype=np.uint8))


def block(x: float, y: float, z: float) -> Mesh:
    """A box with a corner at the origin."""
    return as_mesh(manifold3d.Manifold.cube((x, y, z)))


def plane(name: str, normal: Sequence[float], centre: Sequence[float], area_mm2: float) -> Plane:
    at = np.array(centre, dtype=float)
    return Plane(name, np.array(normal, dtype=float), at, area_mm2, 0.01, 0.03, 0.002, 1e-4, 100, NO_FACES, at[None])


def box_planes(x: float, y: float, z: float) -> tuple[Plane, ...]:
    """The six faces of a block, largest first, named as they are found."""
    middle = np.array([x, y, z]) / 2
    faces = []
    for axis, area in enumerate((y * z, x * z, x * y)):
        for side in (-1.0, 1.0):
            normal = side * np.eye(3)[axis]
            faces.append((area, normal, middle + normal * middle[axis]))
    faces.sort(key=lambda face: -face[0])
    return tuple(plane(f"plane {i}", normal, at, area) for i, (area, normal, at) in enumerate(faces, start=1))


def bore(name: str, axis: Sequence[float], at: Sequence[float], diameter_mm: float) -> Cylinder:
    return Cylinder(
        name,
        "bore",
        np.array(at, dtype=float),
        np.array(axis, dtype=float),
        diameter_mm,
        diameter_mm,
        0.02,
        360.0,
        8.0,
        True,
        "own",
        0.01,
        0.01,
        0.01,
        1e-3,
        500,
        NO_FACES,
    )


def features(planes: Sequence[Plane] = (), bores: Sequence[Cylinder] = (), extents: Sequence[Extent] = ()) -> Features:
    return Features(tuple(planes), tuple(bores), tuple(extents), Noise(0.01, 0.01, 1.0))


def turned(found: Features, turn: Array) -> Features:
    """The same features on a part that was turned about the origin."""
    return Features(
        tuple(
            Plane(
                each.name,
                turn @ each.normal,
                turn @ each.centre_mm,
                each.area_mm2,
                each.rms_mm,
                each.form_error_mm,
                each.u_offset_mm,
                each.u_tilt_rad,
                each.point_count,
                each.faces,
                each.points_mm @ turn.T,
            )
            for each in found.planes
        ),
        found.cylinders,
        found.extents,
        found.noise,
    )
