"""From the mended solid to its table of the report."""

from verifier.inspection import MendStepTable, MendTable, UnseenTable
from verifier.mending.changes import size_changes
from verifier.mending.solid import Solid
from verifier.mending.unseen import Unseen, unseen_places
from verifier.mesh import extents_mm
from verifier.reading.scan import Scan
from verifier.reporting.points import as_point

# Filled places narrower than this are pinholes, and counted only: a scan has hundreds.
UNSEEN_FROM_MM = 1.0
# A person looks at a few places; the largest come first.
VOLUMES_TOLD = 5


def mend_table(scan: Scan, solid: Solid) -> MendTable:
    """What was mended of a scan, where nothing was seen, and how its size changed by it."""
    steps = (
        MendStepTable(
            what=step.what,
            count=step.count,
            area_mm2=step.area_mm2,
            largest_mm=step.largest_mm,
            places_mm=step.places_mm,
            sizes_mm=step.sizes_mm,
        )
        for step in solid.steps
    )
    return MendTable(
        closed=True,  # the mending room lets nothing else out: it raises CannotMend
        volume_mm3=solid.volume_mm3,
        area_mm2=solid.area_mm2,
        extents_mm=as_point(extents_mm(solid.mesh)),
        triangles=len(solid.mesh.faces),
        filled_share=solid.filled_share,
        bodies=solid.bodies,
        steps=tuple(steps),
        unseen=tuple(map(_unseen, unseen_places(solid, UNSEEN_FROM_MM))),
        size_changes=size_changes(scan.mesh, solid),
        volume_changes=tuple(change.sentence for change in solid.volume_changes[:VOLUMES_TOLD]),
    )


def _unseen(place: Unseen) -> UnseenTable:
    return UnseenTable(
        at_mm=as_point(place.at_mm),
        length_mm=place.length_mm,
        width_mm=place.width_mm,
        area_mm2=place.area_mm2,
        seen_from=as_point(place.seen_from),
    )
