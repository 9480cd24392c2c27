import numpy as np

from verifier.comparing.cloud import cloud_of, evenly_facing
from verifier.mesh import Mesh

BOX = Mesh(
    np.array([[x, y, z] for x in (0.0, 60.0) for y in (0.0, 30.0) for z in (0.0, 4.0)]),
    np.array(
        [
            *([0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1]),
            *([2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]),
        ]
    ),
)


def test_points_lie_on_the_surface_however_coarse_the_mesh_is():
    cloud = cloud_of(BOX, count=2000)
    low, high = cloud.points_mm, np.array([60.0, 30.0, 4.0]) - cloud.points_mm
    assert np.allclose(np.minimum(low, high).min(axis=1), 0.0, atol=1e-9)


def test_each_side_has_points_by_its_area():
    cloud = cloud_of(BOX, count=4320)
    area = 2.0 * (60 * 30 + 60 * 4 + 30 * 4)
    on_top = np.sum(cloud.points_mm[:, 2] > 4.0 - 1e-9)
    assert abs(on_top - 4320 * 1800 / area) <= 60 / cloud.spacing_mm  # one row of points along the longer rim
    assert np.isclose(cloud.spacing_mm, np.sqrt(area / 4320))


def test_normals_point_out_of_the_material():
    cloud = cloud_of(BOX, count=2000)
    middle = (cloud.points_mm > 1e-9) & (cloud.points_mm < [60 - 1e-9, 30 - 1e-9, 4 - 1e-9])
    on_top = middle[:, 0] & middle[:, 1] & (cloud.points_mm[:, 2] > 2)
    away = np.minimum(cloud.points_mm[on_top, :2], np.array([60.0, 30.0]) - cloud.points_mm[on_top, :2]).min(axis=1)
    inner = cloud.normals[on_top][away > 3 * cloud.spacing_mm]
    assert len(inner) > 100
    assert np.allclose(inner, [0, 0, 1], atol=1e-9)


def test_narrow_sides_have_a_greater_say_than_their_area():
    cloud = cloud_of(BOX, count=8000)
    drawn = cloud.normals[evenly_facing(cloud, 300)]
    sideways = np.abs(drawn[:, 2]) < 0.5
    assert sideways.mean() > 2.0 * np.mean(np.abs(cloud.normals[:, 2]) < 0.5)
