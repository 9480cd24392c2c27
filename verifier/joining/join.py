"""Several scans of one part made into one scan: the whole story."""

import hashlib
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from verifier.errors import CannotJoin, RuleMistake
from verifier.joining.abreast import abreast
from verifier.joining.dots.dot import Dots
from verifier.joining.dots.find import find_dots
from verifier.joining.dots.taking_off import dots_taken_off
from verifier.joining.fusing import fuse
from verifier.joining.posed import SEAM, Fused, Joined, JoinReport, Placing, Posed
from verifier.joining.side import is_side_of_large_part
from verifier.joining.two_sides import place_two_sides
from verifier.joining.views import place_views
from verifier.mesh import Array
from verifier.reading.scan import Scan, Source
from verifier.rulebook import Rules, Sheet, part_name


def join(scans: Sequence[Scan], sheet: Sheet | None, rules: Rules) -> Joined:
    """Put the scans of one part together; the result goes on as any other scan.

    Which way they are put together is told by how they look. The first one's scale and place are kept.
    sheet : its calliper thickness sets the gap between two sides; its `join` takes one of several ways; its `dots` says
        whether what looks like marker dots is any
    Raises CannotJoin, saying what to do at the scanner; RuleMistake for a `join` there is no way for.
    """
    _refuse_twice(scans)
    dots = tuple(abreast(lambda scan: find_dots(scan.mesh), scans))
    placing = chosen_way(_place(scans, sheet, dots), sheet)
    posed = tuple(
        Posed(scan, pose, kept) for scan, pose, kept in zip(scans, placing.taken.poses, placing.keep_faces, strict=True)
    )
    taken_off = dots_taken_off(posed, dots, moulded=sheet is not None and not sheet.dots)
    fused = fuse(taken_off.posed)
    report = JoinReport(
        scans=tuple(scan.source.name for scan in scans),
        placing=placing,
        seam=fused.seam,
        seam_at_mm=_seam_at_mm(fused),
        scans_kept=_to_draw(placing, posed),
        posed=taken_off.posed,
        dots=taken_off.told,
        dots_at=taken_off.places,
    )
    return Joined(_as_one(scans, fused), fused.source_of_face, report)


def _seam_at_mm(fused: Fused) -> Array | None:
    """Middles of the faces that are no scan's own, (k, 3)."""
    if fused.seam is None:
        return None
    faces = fused.mesh.faces[fused.source_of_face == SEAM]
    return np.asarray(fused.mesh.vertices_mm[faces].mean(axis=1))


def _to_draw(placing: Placing, posed: tuple[Posed, ...]) -> tuple[Posed, ...]:
    """A choice that was made, or was never to be made, needs no pictures."""
    return posed if len(placing.alternatives) > 1 and not placing.sure else ()


def _place(scans: Sequence[Scan], sheet: Sheet | None, dots: Sequence[Dots]) -> Placing:
    """Two sides of a large flat part share a rim and are laid rim on rim; all else is laid surface on surface."""
    if len(scans) == 2 and all(is_side_of_large_part(scan.mesh) for scan in scans):
        return place_two_sides(scans[0], scans[1], sheet, (dots[0], dots[1]))
    return place_views(scans, dots)


def _refuse_twice(scans: Sequence[Scan]) -> None:
    """One file under two names shows nothing new, and would be laid on itself as its own other side."""
    seen: dict[str, str] = {}
    for scan in scans:
        first = seen.setdefault(scan.source.sha256, scan.source.name)
        if first != scan.source.name:
            what = f"it is the same file as {first}"
            raise CannotJoin(what, where=scan.source.name, do="Give the scan of the other side")


def chosen_way(placing: Placing, sheet: Sheet | None) -> Placing:
    """The placing with the way the person chose, if one was chosen."""
    if sheet is None or sheet.join is None:
        return placing
    ways = len(placing.alternatives)
    if sheet.join > ways:
        count = "is one way" if ways == 1 else f"are {ways} ways"
        what = f"join = {sheet.join}, and there {count} to put the scans together"
        raise RuleMistake(
            what,
            where=f"{sheet.part}.toml",
            do="Write the number of a way that stands in the report, or take the line out",
        )
    why = f"The sheet chose way {sheet.join}."
    return replace(placing, chosen=sheet.join - 1, sure=True, why=why, do="")


def _as_one(scans: Sequence[Scan], fused: Fused) -> Scan:
    """One scan of them all: the first one's unit, a name and a hash that stand for all of the files."""
    first = scans[0]
    hashes = "".join(scan.source.sha256 for scan in scans)
    suffix = first.source.name.rpartition(".")[2]
    source = Source(
        f"{part_name(first.source.name)}.{suffix}",
        hashlib.sha256(hashes.encode()).hexdigest(),
        sum(scan.source.size_bytes for scan in scans),
        first.source.format,
    )
    notices = tuple(dict.fromkeys(notice for scan in scans for notice in scan.notices))
    return Scan(fused.mesh, first.unit, source, notices)
