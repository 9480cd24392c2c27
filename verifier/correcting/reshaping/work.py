"""The copy while it is reshaped: its mesh, what was found on it, and where each size of the sheet is taken."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from verifier.correcting.copied_features import copied_features
from verifier.correcting.correction import Correction
from verifier.finding.feature import Cylinder, Extent, Features, Plane
from verifier.measuring.size import Size
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, BoolArray, IntArray, Mesh, drop_unused_vertices, face_vectors_mm2

NEW = -1  # a face that was on no scan

Moves = Callable[[Array], Array]


class CannotReshape(ValueError):
    """Why a part stays as it is. Completes 'that could not be done: …'; `do` is the step that puts it right."""

    def __init__(self, why: str, do: str) -> None:
        super().__init__(why)
        self.do = do


@dataclass(frozen=True, slots=True)
class Work:
    """The copy so far.

    of_scan : (m,) face of the solid in which the features were found, NEW for others
    found : the features where they are on the copy now; their faces are those of the scan's solid
    places : by row, the points its size is taken between, as they are now
    up : (3,) the direction that becomes up on the printer
    lost : rows whose surface is not what was measured any more
    signs : (3,) of the axes, below nought where the part has become its mirror image
    """

    solid: Solid
    of_scan: IntArray
    found: Features
    places: Mapping[str, Array]
    up: Array
    lost: frozenset[str] = frozenset()
    signs: Array = field(default_factory=lambda: np.ones(3))

    @property
    def mesh(self) -> Mesh:
        """The mesh so far."""
        return self.solid.mesh

    def faces_of(self, faces: IntArray) -> IntArray:
        """Where faces of the scan's solid are now, (k,)."""
        wanted = np.zeros(int(max(self.of_scan.max(initial=0), faces.max(initial=0))) + 1, dtype=bool)
        wanted[faces] = True
        known = self.of_scan >= 0
        known[known] = wanted[self.of_scan[known]]
        return np.flatnonzero(known)

    def cylinder(self, name: str) -> Cylinder | None:
        """A bore or boss by its feature's name."""
        return next((each for each in self.found.cylinders if each.name == name), None)

    def plane(self, name: str) -> Plane | None:
        """A flat face by its name."""
        return next((each for each in self.found.planes if each.name == name), None)

    def extent(self, name: str) -> Extent:
        """An overall size by its name."""
        return next(each for each in self.found.extents if each.name == name)

    def with_faces(self, mesh: Mesh, source: IntArray, rebuilt: BoolArray) -> "Work":
        """The work over another mesh.

        source : (m,) the face of the mesh so far that each comes from, NEW for others
        rebuilt : (m,) those that are not where the scanner saw them
        """
        origin = np.where(source >= 0, self.solid.origin[source], Origin.REBUILT)
        origin = np.where(rebuilt, Origin.REBUILT, origin).astype(np.uint8)
        of_scan = np.where(source >= 0, self.of_scan[source], NEW)
        return replace(self, solid=Solid(drop_unused_vertices(mesh), origin, self.solid.steps), of_scan=of_scan)

    def moved(self, moves: Moves) -> "Work":
        """Features and places carried along; the mesh stays."""
        found = self.found
        return replace(
            self,
            found=replace(
                found,
                planes=tuple(replace(each, centre_mm=moves(each.centre_mm[None])[0]) for each in found.planes),
                cylinders=tuple(
                    replace(each, axis_point_mm=moves(each.axis_point_mm[None])[0]) for each in found.cylinders
                ),
                extents=tuple(_between(each, moves(each.ends_mm)) for each in found.extents),
            ),
            places={name: moves(points) for name, points in self.places.items()},
        )


def _between(extent: Extent, ends_mm: Array) -> Extent:
    return replace(extent, ends_mm=ends_mm, length_mm=abs(float((ends_mm[1] - ends_mm[0]) @ extent.direction)))


def start(
    copy: Solid, of_scan: IntArray | None, found: Features, sizes: Sequence[Size], correction: Correction, up: Array
) -> Work:
    """The copy before anything is done to it.

    of_scan : None where its faces are those of the scan's solid
    """
    own = np.arange(len(copy.mesh.faces)) if of_scan is None else of_scan
    places = {size.name: size.points_mm / correction.scale_taken for size in sizes if size.measured_mm is not None}
    return Work(copy, own, copied_features(found, correction), places, up)


@dataclass(frozen=True, slots=True)
class Flat:
    """A flat face as it lies on the copy now.

    faces : (k,) of the copy
    """

    name: str
    normal: Array
    centre_mm: Array
    area_mm2: float
    faces: IntArray


def flat_of(work: Work, plane: Plane) -> Flat:
    """Where a flat face lies on the copy: its direction as fitted, its height as its faces have it.

    Raises CannotReshape where nothing of it is left.
    """
    faces = work.faces_of(plane.faces)
    vectors = face_vectors_mm2(Mesh(work.mesh.vertices_mm, work.mesh.faces[faces]))
    areas = 0.5 * np.linalg.norm(vectors, axis=1)
    if areas.sum() <= 0.0:
        raise CannotReshape(f"nothing is left of {plane.name}", "Name another face, or put this line further up")
    middles = work.mesh.vertices_mm[work.mesh.faces[faces]].mean(axis=1)
    return Flat(plane.name, plane.normal, np.asarray(areas @ middles / areas.sum()), float(areas.sum()), faces)
