"""Small round holes in a smooth surface, with nothing to be seen inside: dots that the scanner left out."""

from dataclasses import dataclass

import numpy as np

from verifier.joining.dots.dot import LEAST_DIAMETER_MM, MOST_DIAMETER_MM, NO_DOTS, Dots
from verifier.joining.dots.surroundings import SECTORS, Around, Near, around, corners_near
from verifier.mending.edges import components
from verifier.mesh import Array, BoolArray, IntArray, Mesh, touching

# A rim has so many edges, and lies on one circle within this share of its radius and of the spacing.
LEAST_EDGES, MOST_EDGES = 7, 120
OUT_OF_ROUND_SHARE, OUT_OF_ROUND_SPACINGS = 0.06, 0.3
# The smooth surface is laid through a ring so far off the rim: a bore's mouth is rounded, or has a lip, within less.
RING_MM = (0.8, 3.2)
# The rim lies on that surface within this, in scatters of its own and in millimetres.
LIP_SCATTERS, LEAST_LIP_MM, MOST_SCATTER_MM = 1.0, 0.06, 0.12
# What lies within this share of the radius is a floor, and what is steep and no farther out than this is a wall: then
# it is a bore, however little of it was seen. The far side of a thin wall is neither.
EMPTY_SHARE, BESIDE_MM, STEEP, FAR_SIDE, MOST_STEEP = 0.7, 0.6, 0.5, -0.5, 0.2


@dataclass(frozen=True, slots=True)
class Rims:
    """Round rims of holes.

    at_mm, along : (n, 3) middles, and roughly the way the surface faces; radius_mm, edges : (n,) size and length
    corner, of : (k,) corners of all of them, and the rim each is of
    """

    at_mm: Array
    along: Array
    radius_mm: Array
    edges: IntArray
    corner: IntArray
    of: IntArray


def round_holes_in(mesh: Mesh, normals: Array, spacing_mm: float) -> Dots:
    """All small round holes in smooth surface, whatever their size within a dot's.

    mesh : corners shared; normals : (n, 3) roughly the way the surface faces at its corners
    """
    rims = _rims(mesh, normals, spacing_mm)
    if len(rims.at_mm) == 0:
        return NO_DOTS
    near = corners_near(mesh.vertices_mm, rims.at_mm)
    ring = rims.radius_mm[:, None] + np.array(RING_MM)
    found = around(mesh.vertices_mm, normals, near, rims.at_mm, rims.along, ring)
    smooth = (found.sectors == SECTORS) & (found.scatter_mm < MOST_SCATTER_MM)
    level = _is_level(mesh.vertices_mm, found, rims)
    good = smooth & level & _has_no_wall(mesh.vertices_mm, normals, near, found, rims)
    return Dots(found.at_mm, found.facing, 2.0 * rims.radius_mm, np.zeros(len(good))).of(good)


def _is_level(points_mm: Array, found: Around, rims: Rims) -> BoolArray:
    """Whether the rim lies on the surface around: a wall's end lies below it, and a lip above."""
    off_mm = np.bincount(rims.of, found.rise_of(points_mm[rims.corner], rims.of), found.count) / rims.edges
    return np.asarray(np.abs(off_mm) < np.maximum(LEAST_LIP_MM, LIP_SCATTERS * found.scatter_mm))


def _has_no_wall(points_mm: Array, normals: Array, near: Near, found: Around, rims: Rims) -> BoolArray:
    """Whether nothing but the rim itself, which may be ragged, lies within it."""
    off = points_mm[near.corner] - found.at_mm[near.place]
    down = np.einsum("kx,kx->k", off, found.facing[near.place])
    aside = np.sqrt(np.maximum(np.einsum("kx,kx->k", off, off) - down**2, 0.0))
    faces = np.einsum("kx,kx->k", normals[near.corner], found.facing[near.place])
    of_face = (normals[near.corner] != 0.0).any(axis=1)
    meant = of_face & (faces > FAR_SIDE) & ~np.isin(near.corner, rims.corner)
    radius = rims.radius_mm[near.place]
    floor = meant & (aside < EMPTY_SHARE * radius)
    wall = meant & (aside < radius + BESIDE_MM) & (faces < STEEP)
    none, some = (np.bincount(near.place[which], minlength=found.count) for which in (floor, wall))
    return np.asarray((none == 0) & (some <= MOST_STEEP * rims.edges))


def _rims(mesh: Mesh, normals: Array, spacing_mm: float) -> Rims:
    """The borders that lie on a small circle, the surface outside of it."""
    start, end, third = _border(mesh)
    count, loop = components(len(mesh.vertices_mm), start, end)
    loop = loop[start]
    many = np.bincount(loop, minlength=count)
    right = np.flatnonzero((many >= LEAST_EDGES) & (many <= MOST_EDGES))
    number = np.full(count, -1)
    number[right] = np.arange(len(right))
    own = number[loop]
    start, third, own = start[own >= 0], third[own >= 0], own[own >= 0]
    edges, points = many[right], mesh.vertices_mm
    middle = _means(points[start], own, edges)
    along = _means(normals[start], own, edges)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    radius, spread = _circle(points[start] - middle[own], own, along, edges)
    beyond = _circle(points[third] - middle[own], own, along, edges)[0]
    good = (
        (spread < OUT_OF_ROUND_SHARE * radius + OUT_OF_ROUND_SPACINGS * spacing_mm)
        & (2.0 * radius > LEAST_DIAMETER_MM)
        & (2.0 * radius < MOST_DIAMETER_MM)
        & (beyond > radius)
    )
    number = np.where(good, np.cumsum(good) - 1, -1)[own]
    mine = number >= 0
    return Rims(middle[good], along[good], radius[good], edges[good], start[mine], number[mine])


def _circle(off: Array, own: IntArray, along: Array, edges: IntArray) -> tuple[Array, Array]:
    """Mean distance from the middles across their ways, and its scatter."""
    down = np.einsum("kx,kx->k", off, along[own])
    away = np.sqrt(np.maximum(np.einsum("kx,kx->k", off, off) - down**2, 0.0))
    mean = np.bincount(own, away, len(edges)) / edges
    return mean, np.sqrt(np.bincount(own, (away - mean[own]) ** 2, len(edges)) / edges)


def _means(values: Array, own: IntArray, edges: IntArray) -> Array:
    return np.stack([np.bincount(own, values[:, k], len(edges)) / edges for k in range(3)], axis=1)


def _border(mesh: Mesh) -> tuple[IntArray, IntArray, IntArray]:
    """Where the edges of one face alone start and end, and that face's third corner; pairs are sought there alone.

    Round a corner inside the surface every neighbour is once ahead and once behind, so their numbers cancel.
    """
    faces, count = mesh.faces, len(mesh.vertices_mm)
    left = np.zeros(count)
    for k in range(3):
        left += np.bincount(faces[:, k], faces[:, (k + 1) % 3] - faces[:, (k + 2) % 3], count)
    at_end: BoolArray = np.asarray(left != 0)
    some = faces[touching(faces, at_end)]
    start, end, third = (np.roll(some, -k, axis=1).ravel() for k in range(3))
    both = at_end[start] & at_end[end]
    start, end, third = start[both], end[both], third[both]
    key, back = start * count + end, end * count + start
    alone = ~np.isin(key, back)
    return start[alone], end[alone], third[alone]
