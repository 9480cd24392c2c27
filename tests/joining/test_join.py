from dataclasses import replace

import numpy as np
import pytest

from tests.joining.test_laid_together import SQUARE, scan_of
from verifier.errors import CannotJoin, CannotMend, RuleMistake, VerifierError
from verifier.inspect import mended
from verifier.joining import JoinReport, Posed, join
from verifier.joining.join import chosen_way
from verifier.joining.posed import Alternative, Placing, Seam, Spread
from verifier.joining.side import is_side_of_large_part, side_of
from verifier.mesh import Mesh
from verifier.rulebook import Sheet, load_rules
from verifier.shipped import rules_folder

WAYS = tuple(
    Alternative(poses=(np.eye(4), np.eye(4)), score=score, rms_mm=0.1, tilt_deg=0.0, thickness_mm=50.0)
    for score in (100.0, 101.0)
)
DOUBTFUL = Placing(
    method="rim laid on rim",
    alternatives=WAYS,
    chosen=0,
    sure=False,
    why="Two ways fit alike.",
    do="Write join = 1 or join = 2 into the sheet.",
    keep_faces=(),
    overlap_share=0.5,
    residuals=(),
    trimmed=(),
)


def renamed(mesh: Mesh, name: str, sha256: str):
    scan = scan_of(mesh)
    return replace(scan, source=replace(scan.source, name=name, sha256=sha256))


def test_the_line_in_the_sheet_chooses_the_way_and_settles_it():
    taken = chosen_way(DOUBTFUL, Sheet(part="trough_lid", join=2))
    assert taken.taken is WAYS[1]
    assert taken.sure
    assert "way 2" in taken.why


def test_without_that_line_the_doubt_stays():
    assert chosen_way(DOUBTFUL, Sheet(part="trough_lid")) is DOUBTFUL
    assert chosen_way(DOUBTFUL, None) is DOUBTFUL


def test_a_way_that_is_not_in_the_report_is_a_mistake_of_the_sheet():
    with pytest.raises(RuleMistake, match="there are 2 ways"):
        chosen_way(DOUBTFUL, Sheet(part="trough_lid", join=3))


def test_one_file_under_two_names_is_refused():
    one, other = (renamed(SQUARE, f"trough_lid.{k}.ply", "a" * 64) for k in (1, 2))
    with pytest.raises(CannotJoin, match="the same file as"):
        join((one, other), None, load_rules(rules_folder()))


def test_a_speck_is_no_view_and_a_closed_part_is_no_side():
    few = tuple(renamed(SQUARE, f"trough_lid.{k}.ply", str(k) * 64) for k in (1, 2))
    with pytest.raises(CannotJoin, match="hardly anything"):
        join(few, None, load_rules(rules_folder()))
    with pytest.raises(CannotJoin, match="no rim"):
        side_of(few[0])
    with pytest.raises(CannotJoin, match="more than one side"):
        side_of(renamed(ball(), "feed_float.1.ply", "1" * 64))


def test_two_sides_are_told_from_views_by_their_looks():
    large = Mesh(30.0 * ball().vertices_mm, ball().faces)
    upper = Mesh(large.vertices_mm, large.faces[large.vertices_mm[large.faces][:, :, 2].min(axis=1) > 0.0])
    assert is_side_of_large_part(upper)
    assert not is_side_of_large_part(large)
    assert not is_side_of_large_part(Mesh(upper.vertices_mm / 30.0, upper.faces))


def test_scans_whose_seam_cannot_be_closed_are_mended_as_they_lie():
    """The fused surface encloses nothing; the scans themselves are two balls side by side."""
    aside = np.eye(4)
    aside[0, 3] = 60.0
    whole = np.ones(len(ball().faces), dtype=bool)
    posed = tuple(Posed(scan_of(ball()), pose, whole) for pose in (np.eye(4), aside))
    seam = Seam(1.0, Spread(0.1, 0.1, 0.1, None), Spread(0.0, 0.0, 0.0, None))
    report = JoinReport(("a.1.ply", "a.2.ply"), DOUBTFUL, seam, posed=posed)
    solid, told = mended(scan_of(SQUARE), report)
    assert solid.bodies == 2
    assert told.seam is None
    with pytest.raises(VerifierError):
        mended(scan_of(SQUARE), replace(report, posed=()))


def test_scans_that_make_no_closed_part_and_may_not_belong_so_are_refused_for_their_join():
    ring = renamed(SQUARE, "a.1.ply", "1" * 64)
    posed = tuple(Posed(ring, pose, np.ones(len(SQUARE.faces), dtype=bool)) for pose in (np.eye(4), np.eye(4)))
    report = JoinReport(("a.1.ply", "a.2.ply"), DOUBTFUL, posed=posed)
    with pytest.raises(CannotJoin, match="may not belong so"):
        mended(scan_of(SQUARE), report)
    with pytest.raises(CannotMend):
        mended(scan_of(SQUARE), replace(report, placing=replace(DOUBTFUL, sure=True)))


def ball() -> Mesh:
    """A globe of 2 x 30 x 40 triangles."""
    turn, lift = np.meshgrid(np.linspace(0, 2 * np.pi, 41), np.linspace(0, np.pi, 31))
    points = 20.0 * np.stack([np.sin(lift) * np.cos(turn), np.sin(lift) * np.sin(turn), np.cos(lift)], axis=-1)
    number = np.arange(31 * 41).reshape(31, 41)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    faces = np.concatenate([np.stack(three, axis=-1).reshape(-1, 3) for three in ((a, b, c), (a, c, d))])
    return Mesh(points.reshape(-1, 3), faces)
