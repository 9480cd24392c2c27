"""From a scan to a closed solid: the whole story, in order of cost."""

from dataclasses import replace

import numpy as np

from verifier.errors import CannotMend, NoTriangles
from verifier.mending.backing import backed
from verifier.mending.belts import close_belts
from verifier.mending.bores import carry_bores_on
from verifier.mending.check import judge_as_written
from verifier.mending.crossings import LEFT_CROSSING, RunsThroughItself, crossing_pairs, mend_crossings
from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.flat import without_flat_faces
from verifier.mending.holes import fill_holes
from verifier.mending.hub_ends import close_hub_ends
from verifier.mending.islands import bridge_islands
from verifier.mending.leading import lead_faces_on
from verifier.mending.loops import cut_knotted_loops
from verifier.mending.orientation import make_faces_agree, settle_pieces
from verifier.mending.passes import drop_second_layers
from verifier.mending.pieces import count_large_pieces, drop_inner_shells, remove_debris_and_fins, tell_bodies
from verifier.mending.refilling import without_unwritable
from verifier.mending.rims import zip_facing_rims
from verifier.mending.seams import close_seams
from verifier.mending.shoulders import close_shoulders
from verifier.mending.solid import MendStep, Solid
from verifier.mending.spikes import cut_off_spikes
from verifier.mending.strips import zip_pieces
from verifier.mending.support import stand_free, stand_on
from verifier.mending.table_sheet import without_table_sheet
from verifier.mending.tunnels import line_tunnels
from verifier.mending.underside import Plane
from verifier.mending.volume import unexplained, volume_changes
from verifier.mending.welding import drop_doubled_faces, weld_equal
from verifier.mesh import BoolArray, Mesh, drop_unused_vertices
from verifier.reading.scan import Scan

# A turntable holds a handful of parts. More pieces than this, each over a hundredth of the largest, are no parts.
MOST_BODIES = 20

MERGE_PASSES = "Align the passes of the scan, merge them into one mesh, and export that"
TABLE_TOO = "If the table or a stand was scanned too, take it off the scan"
TAKE_TABLE_OFF = f"{TABLE_TOO}. {MERGE_PASSES}"

TURN_OVER = "Turn the part over, scan its other side too, and merge both into one mesh"
SEE_MORE = f"{TURN_OVER}. {TABLE_TOO}"


def mend(scan: Scan) -> Solid:
    """Make a closed, outward oriented, manifold solid of a scan.

    Corners that are not part of a fault keep their place bit for bit and their order; new ones come after them.
    Invented faces are marked FILLED. A surface made anew all over would be nobody's measurement: what no local mending
    closes is refused.

    Raises CannotMend when the result would not be a closed solid, or when volume came or went and no step says why; it
    says what is wrong and what to do at the scanner.
    """
    surface, table = one_surface(scan)
    try:
        draft = uncrossed(without_flat_faces(closed(surface, table)))
        surface, draft = surface.bare(), tell_bodies(draft).bare()  # the judge needs the most memory of all
        flaw = _flaw(draft)
        if flaw and (writable := without_unwritable(draft)) is not draft:
            draft = uncrossed(without_flat_faces(writable)).bare()
            flaw = _flaw(draft)
    except RunsThroughItself as crossing:
        do = SEE_MORE if crossing.of_filled else TAKE_TABLE_OFF
        raise CannotMend(str(crossing), where=scan.source.name, do=do) from crossing
    if not flaw:
        return _solid(scan, draft)
    sheet = backed(surface)
    if sheet is not None and not _flaw(sheet) and len(crossing_pairs(sheet.mesh)) == 0:
        return _solid(scan, sheet)
    raise CannotMend(
        f"the surface could not be closed: {flaw}",
        where=scan.source.name,
        do="Scan the part again with one more orientation, and export a single merged mesh",
    )


def one_surface(scan: Scan) -> tuple[Draft, Plane | None]:
    """The scan with shared corners, two faces at most at an edge, all facing out, and nothing but the part.

    And the plane of a table that lay beneath it as a sheet of its own, None without one.
    """
    mesh, strays = without_strays(scan.mesh)
    if len(mesh.faces) == 0:
        raise NoTriangles("it holds no surface", where=scan.source.name, do="Export the mesh again")
    draft = weld_equal(mesh)
    draft = Draft(draft.mesh, draft.origin).telling(strays, *draft.steps)
    if len(draft.mesh.faces) == 0:
        raise NoTriangles("all its faces are without area", where=scan.source.name, do="Export the mesh again")
    if not draft.edges.is_clean():
        draft = close_seams(drop_doubled_faces(draft))
    draft = cut_off_spikes(draft)
    draft = make_faces_agree(remove_debris_and_fins(draft, keep_patches=True))
    pieces = count_large_pieces(draft)
    if pieces > MOST_BODIES:
        raise CannotMend(f"it falls into {pieces} pieces of like size", where=scan.source.name, do=MERGE_PASSES)
    draft, table = without_table_sheet(draft)
    draft = settle_pieces(draft)
    if len(draft.mesh.faces) == 0:
        raise CannotMend("it is a sheet that encloses nothing", where=scan.source.name, do=TURN_OVER)
    return drop_inner_shells(merge_passes(draft)), table


def merge_passes(draft: Draft) -> Draft:
    """One surface of several passes: what was seen twice is kept once, and borders that face each other are joined.

    Patches that found nothing to be joined to are debris after all. Before inner shells are looked for: what only the
    second pass saw lies half inside the first, seen without a skin.
    """
    draft = drop_second_layers(draft)
    if len(draft.edges.border) == 0:
        return draft
    return remove_debris_and_fins(bridge_islands(zip_pieces(cut_knotted_loops(split_bow_ties(draft)))))


def closed(draft: Draft, table: Plane | None) -> Draft:
    """The surface with touching corners split, no support, facing rims joined, bores carried on and holes filled.

    table : where a sheet of table lay
    """
    draft = split_bow_ties(draft)
    if len(draft.edges.border) == 0:
        return draft
    draft = cut_knotted_loops(draft)
    draft = draft if table is None else stand_on(draft, table)
    draft = stand_free(close_hub_ends(close_shoulders(draft)))
    return fill_holes(lead_faces_on(carry_bores_on(close_belts(zip_facing_rims(line_tunnels(draft))))))


def uncrossed(draft: Draft) -> Draft:
    """The surface with no face running through another, and none without area made by that."""
    made = mend_crossings(draft)
    return made if made.mesh is draft.mesh else without_flat_faces(made)


def without_strays(mesh: Mesh) -> tuple[Mesh, MendStep]:
    """The mesh less the faces with a corner that is no place (not a number, infinite), and how many those were."""
    if np.isfinite(mesh.vertices_mm).all():
        return mesh, MendStep("Dropped faces without a place", 0, 0.0)
    sound: BoolArray = np.asarray(np.isfinite(mesh.vertices_mm).all(axis=1))
    kept: BoolArray = np.asarray(sound[mesh.faces].all(axis=1))
    step = MendStep("Dropped faces without a place", int((~kept).sum()), 0.0)
    return drop_unused_vertices(Mesh(mesh.vertices_mm, mesh.faces[kept])), step


def _solid(scan: Scan, draft: Draft) -> Solid:
    """The solid, with what changed in volume. Raises CannotMend when it changed for no reason that was told."""
    solid = Solid(drop_unused_vertices(draft.mesh), draft.origin, draft.steps)
    solid = replace(solid, volume_changes=volume_changes(scan.mesh, solid))
    if said := unexplained(solid):
        raise CannotMend(
            f"mending changed the part: {said}",
            where=scan.source.name,
            do="Scan the part again from the side of that place, and export a single merged mesh",
        )
    return solid


def _flaw(draft: Draft) -> str:
    """What keeps the surface from being a closed solid, as whoever reads the written file sees it; '' for nothing."""
    left = [step for step in draft.steps if step.what == LEFT_CROSSING]
    if left:
        return f"{left[-1].count} faces cross others however they are cut out and filled"
    judgement = judge_as_written(drop_unused_vertices(draft.mesh))
    return "" if judgement.sound else judgement.sentence
