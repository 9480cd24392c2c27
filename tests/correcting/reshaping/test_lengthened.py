"""Longer and shorter: ends to the last digit, volume by the section, refusals where there is no one section."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.correcting.reshaping.shapes import Made, made
from verifier.correcting.reshaping.section import crossing_at, heights_mm
from verifier.mending.check import judge_as_written
from verifier.mending.solid import Origin
from verifier.mesh import Array, volume_mm3

BY_100 = {"do": "lengthen", "by": 100.0, "between": ("front", "rear")}


def ends_of(part: Made, low_mm: float, high_mm: float, by_mm: float) -> tuple[Array, Array, Array, Array]:
    """Corners of the scan below and above the planes, and the same corners afterwards, in the drawing's frame."""
    before, after = part.in_part_mm(part.before.mesh.vertices_mm), part.in_part_mm(part.mesh.vertices_mm)
    return (
        before[before[:, 0] < low_mm],
        after[after[:, 0] < low_mm],
        before[before[:, 0] > high_mm],
        after[after[:, 0] > high_mm + by_mm],
    )


def same_places(one: Array, other: Array) -> float:
    """Largest difference of two sets of places, in any order."""
    assert len(one) == len(other)
    order_one, order_other = (np.lexsort(np.round(places, 6).T) for places in (one, other))
    return float(np.abs(one[order_one] - other[order_other]).max())


@pytest.mark.parametrize(("by_mm", "planes"), [(100.0, (30.0, 70.0)), (-25.0, (30.0, 70.0)), (3.5, (40.0, 46.0))])
def test_the_ends_stay_as_they_were_to_a_millionth_of_a_millimetre(by_mm, planes) -> None:
    part = made("draw_bar", {"do": "lengthen", "by": by_mm, "between": ("front", "rear"), "planes": planes})
    assert part.after.told[0].made
    # The bar's axes were measured 0.01 mm and a few minutes of arc off the drawing's: no corner is that near a plane.
    front, still, rear, shifted = ends_of(part, planes[0] - 0.3, planes[1] + 0.3, by_mm)
    assert same_places(front, still) < 1e-9
    way = np.mean(shifted, axis=0) - np.mean(rear, axis=0)
    assert np.linalg.norm(way) == pytest.approx(abs(by_mm), abs=1e-9)
    assert same_places(rear + way, shifted) < 1e-9


def test_the_volume_grows_by_the_section_times_the_length() -> None:
    part = made("draw_bar", {**BY_100, "planes": (30.0, 70.0)})
    front, rear = (part.found.bores[k].axis_point_mm for k in (0, 1))
    way = rear - front
    way -= (way @ part.found.bores[0].axis) * part.found.bores[0].axis
    way /= np.linalg.norm(way)
    heights = heights_mm(part.before.mesh, way, front)
    areas = []
    for at in np.linspace(30.0, 70.0, 81):
        found = crossing_at(part.before.mesh, heights, float(at))
        a, b = (found.points_mm[found.steps[:, k]] - front for k in (0, 1))
        areas.append(0.5 * float(np.cross(a, b).sum(axis=0) @ way))
    grown = volume_mm3(part.mesh) - volume_mm3(part.before.mesh)
    # 20 x 8 mm with rims rounded by 0.25: the mean section of the stretch, over the 100 mm it was made longer.
    assert grown == pytest.approx(100.0 * np.trapezoid(areas, dx=0.5) / 40.0, rel=2e-4)
    assert grown == pytest.approx(100.0 * 160.0, rel=0.01)


def test_the_bores_keep_their_size_and_place_in_their_end() -> None:
    part = made("draw_bar", BY_100)
    for name, at_mm in (("front", (0.0, 0.0)), ("rear", (190.0, 0.0))):
        diameter_mm = 8.0 if name == "front" else 6.0
        corners = part.in_part_mm(part.mesh.vertices_mm)
        wall = corners[(np.hypot(*(corners[:, :2] - at_mm).T) < diameter_mm / 2 + 0.2) & (corners[:, 2] > 1)]
        wall = wall[wall[:, 2] < 7.0]
        assert 2.0 * np.hypot(*(wall[:, :2] - at_mm).T).mean() == pytest.approx(diameter_mm, abs=0.02)


def test_the_rows_follow_the_part() -> None:
    changes = made("draw_bar", BY_100).after.changes_mm
    assert changes["length"] == pytest.approx(100.0, abs=1e-3)  # the two directions part by a few minutes of arc
    assert changes["front to rear"] == pytest.approx(100.0, abs=1e-3)
    for name in ("width", "body", "front", "rear"):
        assert changes[name] == pytest.approx(0.0, abs=0.02), name


def test_the_stretch_is_marked_rebuilt_and_the_ends_are_not() -> None:
    part = made("draw_bar", BY_100)
    middles = part.in_part_mm(part.mesh.corners_mm.mean(axis=1))[:, 0]
    rebuilt = part.after.solid.origin == Origin.REBUILT
    assert rebuilt[(middles > 40) & (middles < 180)].all()
    assert not rebuilt[(middles < 7.5) | (middles > 190)].any()


def test_a_lengthened_part_is_a_closed_solid_in_its_file() -> None:
    assert judge_as_written(made("draw_bar", BY_100).mesh).sound


@pytest.mark.parametrize(
    ("shape", "keys", "says"),
    [
        ("draw_bar", {"by": 20.0, "between": ("front", "rear"), "planes": (3.0, 40.0)}, "its section changes by"),
        ("draw_bar", {"by": -80.0, "between": ("front", "rear")}, "mm long"),
        ("draw_bar", {"by": 20.0, "between": ("front", "rear"), "planes": (50.0, 400.0)}, "do not both cross"),
        ("latch_lever", {"by": 20.0, "along": "length"}, "no stretch of it has one section"),
        ("worn_yoke", {"by": 20.0, "between": ("left", "right"), "planes": (10.0, 20.0)}, "cannot be told"),
    ],
)
def test_a_part_that_cannot_be_made_longer_stays_and_says_why(shape, keys, says) -> None:
    part = made(shape, {"do": "lengthen", **keys})
    told = part.after.told[0]
    assert not told.made
    assert says in told.why_not
    assert told.do
    assert part.mesh is part.before.mesh


@settings(max_examples=8, deadline=None)
@given(by_mm=st.floats(-20.0, 200.0).filter(lambda by: abs(by) > 0.01))
def test_longer_and_shorter_again_is_the_part_as_it_was(by_mm) -> None:
    there = {"do": "lengthen", "by": by_mm, "between": ("front", "rear"), "planes": (35.0, 75.0)}
    back = {"do": "lengthen", "by": -by_mm, "between": ("front", "rear"), "planes": (35.0, 75.0 + by_mm)}
    part = made("draw_bar", there, back)
    assert all(told.made for told in part.after.told)
    assert volume_mm3(part.mesh) == pytest.approx(volume_mm3(part.before.mesh), rel=1e-4)
    assert part.after.changes_mm["front to rear"] == pytest.approx(0.0, abs=1e-6)
