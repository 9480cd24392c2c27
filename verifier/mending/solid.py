"""The value that leaves the mending room: a closed solid of which every face knows whether it was seen."""

from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph

from verifier.mesh import Array, Mesh, face_areas_mm2, volume_mm3

Point = tuple[float, float, float]
Box = tuple[Point, Point]


class Origin(IntEnum):
    """Where a face comes from."""

    MEASURED = 0
    FILLED = 1
    REBUILT = 2


@dataclass(frozen=True, slots=True)
class MendStep:
    """One kind of mending, told for the report.

    what : 'Removed debris', 'Filled holes', … verb first
    count : how many pieces, holes, faces
    area_mm2 : surface removed or added
    places_mm : (k, 3) middles of the largest ones, at most twenty
    largest_mm : the size across of the widest one, 0 where that says nothing
    sizes_mm : the size across of each one that places_mm has
    box_mm : lowest and highest corner of all that was taken away or made
    """

    what: str
    count: int
    area_mm2: float
    places_mm: tuple[Point, ...] = ()
    largest_mm: float = 0.0
    sizes_mm: tuple[float, ...] = ()
    box_mm: Box | None = None


@dataclass(frozen=True, slots=True)
class VolumeChange:
    """One stretch of space that is inside now and was not, or the other way.

    at_mm : its middle, in the export's own axes
    volume_mm3 : positive where the solid holds more than the scan did
    reasons : the steps that made or threw away surface there; none when no step accounts for it
    """

    at_mm: Point
    volume_mm3: float
    reasons: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The change in words."""
        what = "were filled" if self.volume_mm3 > 0 else "were taken away"
        why = ", ".join(self.reasons) or "no step accounts for it"
        x, y, z = self.at_mm
        return f"{abs(self.volume_mm3):.0f} mm³ {what} at ({x:.1f}, {y:.1f}, {z:.1f}): {why}."


@dataclass(frozen=True)
class Solid:
    """A closed, oriented, manifold surface.

    mesh : closed mesh, outward oriented
    origin : (m,) uint8, an Origin for every face
    steps : what was mended, in the order it was done
    volume_changes : where mending changed what is inside, the largest first
    """

    mesh: Mesh
    origin: NDArray[np.uint8]
    steps: tuple[MendStep, ...] = ()
    volume_changes: tuple[VolumeChange, ...] = ()

    @property
    def volume_mm3(self) -> float:
        """Volume enclosed."""
        return volume_mm3(self.mesh)

    @cached_property
    def areas_mm2(self) -> Array:
        """Area of every face, (m,); four rooms ask."""
        return face_areas_mm2(self.mesh)

    @property
    def area_mm2(self) -> float:
        """Area of the surface."""
        return float(self.areas_mm2.sum())

    @property
    def bodies(self) -> int:
        """Number of pieces that share no corner."""
        faces, count = self.mesh.faces, len(self.mesh.vertices_mm)
        starts, ends = faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel()
        links = sparse.csr_matrix((np.ones(len(starts), dtype=np.int8), (starts, ends)), shape=(count, count))
        return int(csgraph.connected_components(links, directed=False, return_labels=False))

    @property
    def filled_share(self) -> float:
        """Share of the surface that was invented, 0 to 1."""
        return float(self.areas_mm2[self.origin == Origin.FILLED].sum() / self.area_mm2)
