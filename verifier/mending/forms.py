"""Flats and round walls: what the surface of a moulded part is made of beside a hole."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.mesh import FACES_AT_ONCE, Array, BoolArray, IntArray

# A face lies on a form when its middle is so near to it, the scatter of a handheld scan (0.02 to 0.05 mm, common
# practice, no source) twice over, and it looks as the form does within 25 degrees (cosine).
ON_FORM_MM = 0.1
LOOKS_ALIKE = 0.9
# Two forms of one direction (cosine of 3 degrees) that lie within twice the above of each other are one.
ONE_DIRECTION = 0.9986


@dataclass(frozen=True, slots=True)
class Flat:
    """A plane: at_mm (3,) a place in it, normal (3,) the side that is outside."""

    at_mm: Array
    normal: Array

    def off_mm(self, points_mm: Array) -> Array:
        """Height of points over the plane, (n,)."""
        return np.asarray((points_mm - self.at_mm) @ self.normal)

    def looking(self, points_mm: Array) -> Array:
        """Unit direction in which the height grows, (n, 3)."""
        return np.broadcast_to(self.normal, points_mm.shape)

    def holds(self, patches: "Patches") -> BoolArray:
        """Which patches lie on it and look as it does, (n,)."""
        way = np.einsum("nx,nx->n", self.looking(patches.middles_mm), patches.normals)
        return np.asarray((np.abs(self.off_mm(patches.middles_mm)) < ON_FORM_MM) & (way > LOOKS_ALIKE))


@dataclass(frozen=True, slots=True)
class Round:
    """A cylinder: at_mm (3,) on its axis, axis (3,), outward 1 for a boss and -1 for a bore."""

    at_mm: Array
    axis: Array
    radius_mm: float
    outward: int

    def off_mm(self, points_mm: Array) -> Array:
        """Distance of points from the wall, (n,), negative on the axis's side."""
        return np.asarray(self._spokes(points_mm)[1] - self.radius_mm)

    def looking(self, points_mm: Array) -> Array:
        """Unit direction away from the axis, (n, 3)."""
        spokes, length_mm = self._spokes(points_mm)
        return np.asarray(spokes / np.maximum(length_mm, 1e-12)[:, None])

    def holds(self, patches: "Patches") -> BoolArray:
        """Which patches lie on it and look as it does, (n,)."""
        spokes, length_mm = self._spokes(patches.middles_mm)
        near = np.abs(length_mm - self.radius_mm) < ON_FORM_MM
        way = np.einsum("nx,nx->n", spokes / np.maximum(length_mm, 1e-12)[:, None], patches.normals)
        return np.asarray(near & (self.outward * way > LOOKS_ALIKE))

    def _spokes(self, points_mm: Array) -> tuple[Array, Array]:
        """From the axis square to each point, (n, 3), and how long that is, (n,)."""
        away = points_mm - self.at_mm
        spokes = away - (away @ self.axis)[:, None] * self.axis
        return spokes, np.linalg.norm(spokes, axis=1)


@dataclass(frozen=True, slots=True)
class Ring:
    """A torus: at_mm (3,) its middle, axis (3,), the tube's middle around_mm from there; a ball where that is nought.

    outward : 1 where material is in the tube, -1 where it is around it
    """

    at_mm: Array
    axis: Array
    around_mm: float
    radius_mm: float
    outward: int

    def off_mm(self, points_mm: Array) -> Array:
        """Distance of points from the tube's wall, (n,), negative within it."""
        return np.asarray(np.linalg.norm(self._spokes(points_mm), axis=1) - self.radius_mm)

    def looking(self, points_mm: Array) -> Array:
        """Unit direction away from the tube's middle, (n, 3)."""
        spokes = self._spokes(points_mm)
        return np.asarray(spokes / np.maximum(np.linalg.norm(spokes, axis=1, keepdims=True), 1e-12))

    def holds(self, patches: "Patches") -> BoolArray:
        """Which patches lie on it and look as it does, (n,)."""
        near = np.abs(self.off_mm(patches.middles_mm)) < ON_FORM_MM
        way = np.einsum("nx,nx->n", self.looking(patches.middles_mm), patches.normals)
        return np.asarray(near & (self.outward * way > LOOKS_ALIKE))

    def _spokes(self, points_mm: Array) -> Array:
        away = points_mm - self.at_mm
        across = away - (away @ self.axis)[:, None] * self.axis
        length = np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)
        return np.asarray(away - self.around_mm * across / length)


Form = Flat | Round | Ring


@dataclass(frozen=True, slots=True)
class Patches:
    """Small patches of surface: middle and normal, (n, 3) each, and area, (n,)."""

    middles_mm: Array
    normals: Array
    areas_mm2: Array

    def at(self, chosen: BoolArray) -> "Patches":
        """Those chosen, (n,)."""
        return Patches(self.middles_mm[chosen], self.normals[chosen], self.areas_mm2[chosen])


def patches_of(middles_mm: Array, vectors_mm2: Array, size_mm: float) -> Patches:
    """Faces that look the same way within one cube of the given size put together, so that scatter is averaged out.

    vectors_mm2 : (n, 3) the faces' normals, as long as twice their areas
    """
    side = np.abs(vectors_mm2).argmax(axis=1)
    side = 2 * side + (np.take_along_axis(vectors_mm2, side[:, None], axis=1)[:, 0] > 0)
    keys = np.column_stack([np.floor(middles_mm / size_mm).astype(np.int64), side])
    _, group = np.unique(keys, axis=0, return_inverse=True)
    group = group.reshape(-1)
    lengths = np.linalg.norm(vectors_mm2, axis=1)
    total = np.maximum(np.bincount(group, lengths), 1e-12)
    middles, vectors = (
        np.column_stack([np.bincount(group, weight * each[:, k]) for k in range(3)])
        for each, weight in ((middles_mm, lengths), (vectors_mm2, np.ones(len(lengths))))
    )
    normals = vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12)
    return Patches(middles / total[:, None], normals, 0.5 * total)


def together(patches: Sequence[Patches]) -> Patches:
    """All patches of several lots."""
    if not patches:
        return Patches(np.empty((0, 3)), np.empty((0, 3)), np.empty(0))
    return Patches(
        np.concatenate([each.middles_mm for each in patches]),
        np.concatenate([each.normals for each in patches]),
        np.concatenate([each.areas_mm2 for each in patches]),
    )


def lies_on(form: Form, patches: Patches) -> BoolArray:
    """Which patches lie on a form and look as it does."""
    return form.holds(patches)


def held_by_flats(flats: Sequence[Flat], patches: Patches) -> Array:
    """Area of the patches that lie on each of some planes, (k,): what `lies_on` says, of all planes at once."""
    at, normals = np.array([flat.at_mm for flat in flats]), np.array([flat.normal for flat in flats])
    off_mm = patches.middles_mm @ normals.T - np.einsum("kx,kx->k", at, normals)
    return _held(patches, off_mm, patches.normals @ normals.T)


def held_by_rounds(rounds: Sequence[Round], patches: Patches) -> Array:
    """The same of cylinders; a spoke is how far a patch is away from a place on the axis, less its share along that."""
    at, axes = np.array([each.at_mm for each in rounds]), np.array([each.axis for each in rounds])
    radii, outward = np.array([each.radius_mm for each in rounds]), np.array([each.outward for each in rounds])
    middles, normals = patches.middles_mm, patches.normals
    along = middles @ axes.T - np.einsum("kx,kx->k", at, axes)
    away_squared = np.square(middles).sum(axis=1)[:, None] - 2.0 * middles @ at.T + np.square(at).sum(axis=1)
    spoke_mm = np.sqrt(np.maximum(away_squared - along**2, 1e-24))
    looking = np.einsum("nx,nx->n", normals, middles)[:, None] - normals @ at.T - along * (normals @ axes.T)
    return _held(patches, spoke_mm - radii, outward * looking / spoke_mm)


def _held(patches: Patches, off_mm: Array, way: Array) -> Array:
    """Area of the patches on each of some forms, which they lie so far off and look so much along, (n, k) each."""
    return np.asarray(patches.areas_mm2 @ ((np.abs(off_mm) < ON_FORM_MM) & (way > LOOKS_ALIKE)))


def sides_of(forms: Sequence[Form], points_mm: Array) -> IntArray:
    """A number that says on which side of every form each point lies: bit k for the k-th."""
    code = np.zeros(len(points_mm), dtype=np.int64)
    for first in range(0, len(points_mm), FACES_AT_ONCE):
        some = slice(first, first + FACES_AT_ONCE)
        for k, form in enumerate(forms):
            code[some] |= (form.off_mm(points_mm[some]) > 0.0).astype(np.int64) << k
    return code


def is_same(one: Form, other: Form) -> bool:
    """Whether two forms are one surface seen in two places, by as much as two fits of it differ."""
    if isinstance(one, Flat) and isinstance(other, Flat):
        along = abs(float(one.normal @ other.normal))
        return along > ONE_DIRECTION and abs(float(other.off_mm(one.at_mm[None])[0])) < 2.0 * ON_FORM_MM
    if isinstance(one, Round) and isinstance(other, Round):
        along = abs(float(one.axis @ other.axis))
        beside = abs(float(other.off_mm(one.at_mm[None])[0]) + other.radius_mm)
        return (
            along > ONE_DIRECTION
            and beside < 2.0 * ON_FORM_MM
            and abs(one.radius_mm - other.radius_mm) < 2.0 * ON_FORM_MM
        )
    if isinstance(one, Ring) and isinstance(other, Ring):
        sizes = abs(one.radius_mm - other.radius_mm), abs(one.around_mm - other.around_mm)
        apart = float(np.linalg.norm(one.at_mm - other.at_mm))
        along = abs(float(one.axis @ other.axis)) if one.around_mm > 0.0 else 1.0
        return along > ONE_DIRECTION and max(*sizes, apart) < 2.0 * ON_FORM_MM
    return False
