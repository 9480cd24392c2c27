import io
from dataclasses import replace

import numpy as np
from PIL import Image

from tests.joining.test_join import DOUBTFUL, WAYS
from tests.joining.test_laid_together import scan_of
from verifier.joining import JoinReport, Posed
from verifier.mesh import Mesh
from verifier.reporting.way_pictures import way_pictures

TURNED = np.diag([-1.0, -1.0, 1.0, 1.0])


def lid() -> Mesh:
    """A plate of 60 x 40 mm with a bump 0.4 mm high off its middle, 0.5 mm from corner to corner."""
    x, y = np.meshgrid(np.linspace(-30, 30, 121), np.linspace(-20, 20, 81), indexing="ij")
    z = 0.4 * np.exp(-(((x - 15.0) ** 2 + (y - 8.0) ** 2) / 8.0))
    number = np.arange(x.size).reshape(x.shape)
    a, b, c, d = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    faces = np.concatenate([np.stack(three, axis=-1).reshape(-1, 3) for three in ((a, b, c), (a, c, d))])
    return Mesh(np.column_stack([x.ravel(), y.ravel(), z.ravel()]), faces)


def report_of_two_ways() -> JoinReport:
    """Two scans of one side; the second way has one of them turned round."""
    one = Posed(scan_of(lid()), np.eye(4), np.ones(len(lid().faces), dtype=bool))
    ways = (WAYS[0], replace(WAYS[1], poses=(np.eye(4), TURNED)))
    return JoinReport(("lid.1.ply", "lid.2.ply"), replace(DOUBTFUL, alternatives=ways), scans_kept=(one, one))


def red_points(png: bytes) -> int:
    red, green, blue = np.moveaxis(np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int), -1, 0)
    return int(((red > 2 * green) & (red > 2 * blue)).sum())


def test_every_way_has_a_picture_and_red_where_the_scans_lie_apart():
    """Turned round, either bump lies on flat surface: two places of some 10 picture points across."""
    right, wrong = way_pictures(report_of_two_ways())
    assert red_points(right) == 0
    assert red_points(wrong) > 100


def test_there_are_no_pictures_where_there_is_nothing_to_choose():
    report = report_of_two_ways()
    assert way_pictures(None) == ()
    assert way_pictures(replace(report, scans_kept=())) == ()
    assert way_pictures(replace(report, placing=replace(report.placing, alternatives=WAYS[:1]))) == ()
