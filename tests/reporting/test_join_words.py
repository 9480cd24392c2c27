from dataclasses import replace

import numpy as np
import pytest

from tests.joining.test_join import DOUBTFUL, WAYS
from verifier.joining import JoinReport
from verifier.joining.posed import DotsTold, Link, Residual, Seam, Spread, Trimmed
from verifier.judging.findings import of_joining
from verifier.reporting.join_table import join_table
from verifier.reporting.join_words import join_in_words

STRETCHED = np.diag([0.998, 0.998, 0.998, 1.0])
PLACING = replace(
    DOUBTFUL,
    alternatives=(WAYS[0], replace(WAYS[1], poses=(np.eye(4), STRETCHED), differs="2 of 200 pieces are off.")),
    chosen=1,
    residuals=(Residual("rim, 1 of 8", (1.0, 2.0, 3.0), 0.21, 12), Residual("rim, 2 of 8", (4.0, 5.0, 6.0), 0.05, 9)),
    trimmed=(Trimmed("trough_lid.1.ply", 430_000.0, 28_200.0, 40.0), Trimmed("trough_lid.2.ply", 430_000.0, 0.0, 3.0)),
    calliper_mm=50.0,
)
REPORT = JoinReport(("trough_lid.1.ply", "trough_lid.2.ply"), PLACING)


def told() -> str:
    return " ".join(join_in_words(join_table(REPORT)))


def test_a_part_of_one_scan_says_nothing_of_joining():
    assert join_table(None) is None
    assert list(join_in_words(None)) == []


def test_both_ways_are_told_with_the_number_that_chooses_them():
    assert "Way 1: 0.10 mm apart" in told()
    assert "Way 2 (taken)" in told()
    assert "2 of 200 pieces are off." in told()


def test_skirt_scale_thickness_and_the_worst_region_are_told():
    assert "Cut from trough_lid.1.ply: 282.0 cm² of skirt" in told()
    assert "Cut from trough_lid.2.ply" not in told()  # 0.03 cm²
    assert "trough_lid.2.ply was taken -0.20 % in size" in told()
    assert "the calliper's 50 mm" in told()
    assert "Worst region of the overlap: rim, 1 of 8, 0.21 mm" in told()


def test_of_views_the_pose_that_did_not_close_is_told():
    links = (Link(0, 1, 0.4, 0.05, True, 0.02), Link(0, 2, 0.5, 0.05, False, 28.0), Link(1, 2, 0.05, 0.05, False, 0.0))
    views = replace(PLACING, links=links, trimmed=(*PLACING.trimmed, Trimmed("trough_lid.3.ply", 1.0, 0.0, 0.0)))
    poses = (np.eye(4),) * 3
    views = replace(views, alternatives=tuple(replace(way, poses=poses) for way in WAYS))
    report = JoinReport(("trough_lid.1.ply", "trough_lid.2.ply", "trough_lid.3.ply"), views)
    words = " ".join(join_in_words(join_table(report)))
    assert "trough_lid.1.ply and trough_lid.3.ply alone would lie 28.0 mm elsewhere" in words
    assert "trough_lid.2.ply and trough_lid.3.ply share next to no surface" in words
    assert "Way 1: 0.10 mm apart" in words


def test_the_seam_s_step_is_told_and_its_gap_where_there_is_one():
    step = Spread(0.03, 0.08, 0.21, (1.0, 2.0, 3.0))
    closed = Seam(2870.0, step, Spread(0.0, 0.0, 0.2, (4.0, 5.0, 6.0)))
    gaping = Seam(2870.0, step, Spread(0.0, 1.2, 3.4, (4.0, 5.0, 6.0)))
    words = [" ".join(join_in_words(join_table(replace(REPORT, seam=seam)))) for seam in (closed, gaping)]
    assert "Seam 2870 mm long" in words[0]
    assert "at most 0.21 mm at 1, 2, 3" in words[0]
    assert "gap" not in words[0]
    assert "a gap of at most 3.40 mm at 4, 5, 6" in words[1]


@pytest.mark.parametrize(
    ("dots", "words"),
    [
        (DotsTold(6, 5.04, 0.15, 8), "8 of 0.15 mm height were taken off the surface"),
        (DotsTold(6, 5.04, 0.0, 0), "left as holes, which were filled"),
        (DotsTold(6, 5.04, 0.3, 0, moulded=True), "and left on"),
    ],
)
def test_marker_dots_are_told_with_what_became_of_them(dots, words):
    told = " ".join(join_in_words(join_table(replace(REPORT, dots=dots))))
    assert "6 marker dots of 5.0 mm" in told
    assert words in told


def test_a_join_in_doubt_leaves_the_part_undecided_and_says_what_decides_it():
    (finding,) = of_joining(REPORT)
    assert finding.verdict == "UNDECIDED"
    assert "join = 1" in finding.do
    assert of_joining(replace(REPORT, placing=replace(PLACING, sure=True))) == ()
    assert of_joining(None) == ()
