"""One of several views of a small part, ready to be laid on others: less debris and table, as points with normals."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.comparing.cloud import Cloud, cloud_of, evenly_facing
from verifier.comparing.refining import Target, target_of
from verifier.errors import CannotJoin
from verifier.joining.dots.dot import NO_DOTS, Dots
from verifier.joining.posed import Trimmed
from verifier.joining.table import table_faces
from verifier.joining.trimming import mean_normal, shared_corners
from verifier.mending.edges import components
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_vectors_mm2
from verifier.reading.scan import Scan

# A piece with less than this share of the largest one's surface is debris. The wall of a bore that the view saw past
# its mouth's rim may hang on nothing, and is well above.
DEBRIS_SHARE = 0.004
LEAST_FACES = 300
# Points that are looked up, and points that are asked about at most.
POINTS, ASKED, STEPPED = 24_000, 3_000, 1_200
NEIGHBOURS = 8
# Putty and the blend to the table sit at the foot of a view, within this of its lowest place.
FOOT_MM, FOOT_SHARE = 8.0, 0.3
# A lump that begins at the foot may rise above it, up to so many times its height.
RISES = 1.6


@dataclass(frozen=True, slots=True)
class View:
    """One scan as it is laid on others.

    mesh : corners shared, the faces of the file in their order; keep_faces : (m,) those that are part
    target : all points, to find nearest ones on; foot : (n,) which of them lie at the foot
    low : (n,) which lie no higher than putty rises; putty : (n,) which another view showed to be no part
    asked : some points, evenly over the surface; beside : (k, 8) the neighbours of each among them
    asked_foot : (k,) which of them lie at the foot; asked_of : (k,) their numbers among all points
    stepped : fewer, from all sides alike
    up : (3,) the way most of its surface faces
    dots : marker dots stuck on the part, where they are known
    """

    scan: Scan
    mesh: Mesh
    keep_faces: BoolArray
    target: Target
    foot: BoolArray
    low: BoolArray
    putty: BoolArray
    asked: Cloud
    beside: IntArray
    asked_foot: BoolArray
    asked_of: IntArray
    stepped: Cloud
    up: Array
    area_mm2: float
    trimmed: Trimmed
    dots: Dots = NO_DOTS

    @property
    def cloud(self) -> Cloud:
        """All points."""
        return self.target.cloud

    @property
    def name(self) -> str:
        """Of its file."""
        return self.scan.source.name


def view_of(scan: Scan, dots: Dots = NO_DOTS) -> View:
    """Take debris and table away and spread points over what is left.

    Raises CannotJoin for a scan of next to nothing.
    """
    mesh = shared_corners(scan.mesh)
    vectors = face_vectors_mm2(mesh)
    pieces = _large_pieces(mesh, vectors)
    if pieces.sum() < LEAST_FACES:
        what = "hardly anything was scanned, and no part can be made out in it"
        raise CannotJoin(what, where=scan.source.name, do="Leave it out, or scan that view again")
    table = table_faces(mesh, pieces, vectors)
    kept = pieces & ~table
    if table.any():  # what hung on the table alone goes with it
        kept &= _large_pieces(Mesh(mesh.vertices_mm, mesh.faces[kept]), vectors[kept], among=kept)
    areas = 0.5 * np.linalg.norm(vectors, axis=1)
    kept_mm2, pieces_mm2 = float(areas[kept].sum()), float(areas[pieces].sum())
    trimmed = Trimmed(scan.source.name, kept_mm2, pieces_mm2 - kept_mm2, float(areas.sum()) - pieces_mm2)
    return replace(_looked_at(scan, mesh, kept, mean_normal(vectors, kept), trimmed), dots=dots)


def _looked_at(scan: Scan, mesh: Mesh, kept: BoolArray, up: Array, trimmed: Trimmed) -> View:
    cloud = cloud_of(Mesh(mesh.vertices_mm, mesh.faces[kept]), count=POINTS)
    asked = cloud.thinned(ASKED)
    beside = np.asarray(cKDTree(asked.points_mm).query(asked.points_mm, k=NEIGHBOURS + 1)[1], dtype=np.int64)[:, 1:]
    target, heights = target_of(cloud), cloud.points_mm @ up
    bottom_mm, foot_mm = _foot_mm(heights)
    return View(
        scan=scan,
        mesh=mesh,
        keep_faces=kept,
        target=target,
        foot=heights < foot_mm,
        low=heights < bottom_mm + RISES * (foot_mm - bottom_mm),
        putty=np.zeros(len(cloud), dtype=bool),
        asked=asked,
        beside=beside,
        asked_foot=asked.points_mm @ up < foot_mm,
        asked_of=np.asarray(target.tree.query(asked.points_mm)[1], dtype=np.int64),
        stepped=cloud.of(evenly_facing(cloud, STEPPED)),
        up=up,
        area_mm2=trimmed.kept_mm2,
        trimmed=trimmed,
    )


def without(view: View, foreign: BoolArray) -> View:
    """The same with more of its faces taken for what is no part; told with the table."""
    more = foreign & view.keep_faces
    if not more.any():
        return view
    mm2 = 0.5 * float(np.linalg.norm(face_vectors_mm2(view.mesh)[more], axis=1).sum())
    was = view.trimmed
    trimmed = Trimmed(was.scan, was.kept_mm2 - mm2, was.skirt_mm2 + mm2, was.debris_mm2)
    return replace(view, keep_faces=view.keep_faces & ~more, trimmed=trimmed)


def _foot_mm(heights_mm: Array) -> tuple[float, float]:
    """The heights from which and up to which a view's foot reaches."""
    low, high = np.quantile(heights_mm, [0.002, 0.998])
    return float(low), float(low + min(FOOT_MM, FOOT_SHARE * (high - low)))


def _large_pieces(mesh: Mesh, vectors_mm2: Array, among: BoolArray | None = None) -> BoolArray:
    """Faces of the pieces that are more than debris: of the mesh, (m,); or of those among all, (all,)."""
    faces = mesh.faces
    count, piece = components(len(mesh.vertices_mm), faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel())
    own = piece[faces[:, 0]]
    area = np.bincount(own, np.linalg.norm(vectors_mm2, axis=1), count)
    large = (area > DEBRIS_SHARE * area.max())[own]
    if among is None:
        return np.asarray(large)
    whole = np.zeros(len(among), dtype=bool)
    whole[np.flatnonzero(among)[large]] = True
    return whole
