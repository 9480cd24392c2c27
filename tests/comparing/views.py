"""Scans of one part in two poses, whole or as one side sees it, and how far a found pose is from the true one."""

from dataclasses import dataclass

import numpy as np

from inbox_demo import simulated
from tests.comparing import parts
from verifier.comparing.pose import angle_between_deg, inverse, moved, pose_of
from verifier.mesh import Array, Mesh, face_areas_mm2, face_normals

DEMO = ("latch_lever", "pump_rocker", "fence_clip", "seat_armrest")
PARTS = {name: getattr(simulated, name) for name in DEMO} | parts.PARTS


@dataclass(frozen=True)
class Pair:
    """Two scans and the pose that lays the first on the second."""

    moving: Mesh
    fixed: Mesh
    truth: Array


def scans_of(part: str, seed: int, spacing_mm: float) -> Pair:
    """Two scans of the same part, each in a pose of its own."""
    shape = PARTS[part]()
    one, other = (simulated.scan(shape, spacing_mm=spacing_mm, seed=s) for s in (2 * seed + 1, 2 * seed))
    here, there = pose_of(one.turn, one.shift_mm), pose_of(other.turn, other.shift_mm)
    return Pair(Mesh(one.vertices_mm, one.faces), Mesh(other.vertices_mm, other.faces), there @ inverse(here))


def seen(mesh: Mesh, share: float, rng: np.random.Generator, how: str) -> Mesh:
    """So much of the surface: what faces a direction most ('facing'), or what lies farthest along it ('cut')."""
    direction = rng.normal(size=3)
    areas = face_areas_mm2(mesh)
    key = (face_normals(mesh) if how == "facing" else mesh.vertices_mm[mesh.faces].mean(axis=1)) @ direction
    order = np.argsort(-key)
    kept = order[np.cumsum(areas[order]) <= share * areas.sum()]
    return Mesh(mesh.vertices_mm, mesh.faces[np.sort(kept)])


def off(pose: Array, truth: Array, mesh: Mesh) -> tuple[float, float]:
    """Degrees and the greatest millimetres by which a pose misses the true one on this mesh."""
    away = moved(pose, mesh.vertices_mm) - moved(truth, mesh.vertices_mm)
    return float(angle_between_deg(pose, truth)), float(np.linalg.norm(away, axis=1).max())
