"""Views of small parts laid on each other."""

from dataclasses import replace

import numpy as np
import pytest

from tests.joining import dotted
from tests.joining import turntable as small
from tests.joining.test_laid_together import scan_of
from verifier.errors import CannotJoin
from verifier.joining import join
from verifier.joining.agreement import agreement_of, said_of
from verifier.joining.arranging import Arrangement, Met, finest, judged, size_of, ways_that_follow
from verifier.joining.one_side import hangs_out_mm, may_be_one_side, may_be_whole
from verifier.joining.posed import Placing
from verifier.joining.twins import alike
from verifier.joining.view import View, view_of
from verifier.joining.views import MOST_IMPOSSIBLE, place_views
from verifier.mesh import Mesh, face_areas_mm2, face_normals
from verifier.reading.scan import Scan
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder

UP, DOWN, ASIDE = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0)
# The least net that still shows a bore of 6 mm as one.
QUICK = {"spacing_mm": 1.1, "noise_mm": 0.03}


def seen(part: str, seed: int, *ways: tuple[tuple[float, float, float], dict[str, float]]) -> list[small.View]:
    rng = np.random.default_rng(seed)
    return [small.view(small.PARTS[part](), small.How(up, **(QUICK | how)), rng) for up, how in ways]


def scan_named(view: small.View, number: int) -> Scan:
    scan = scan_of(Mesh(view.vertices_mm, view.faces))
    return replace(scan, source=replace(scan.source, name=f"latch_lever.{number}.ply", sha256=str(number) * 64))


def scans_of(views: list[small.View]) -> list[Scan]:
    return [scan_named(view, k + 1) for k, view in enumerate(views)]


@pytest.fixture(scope="module")
def lever() -> list[small.View]:
    """From above on a table, from below and 0.2 % too large, and on its edge with putty at its foot."""
    return seen("latch_lever", 11, (UP, {"skirt_mm": 8.0}), (DOWN, {"scale": 1.002}), (ASIDE, {"putty_mm": 5.0}))


@pytest.fixture(scope="module")
def ready(lever) -> list[View]:
    return [view_of(scan) for scan in scans_of(lever)]


@pytest.fixture(scope="module")
def found(lever) -> Placing:
    return join(scans_of(lever), None, load_rules(rules_folder())).report.placing


def test_opposite_sides_come_together_through_a_view_from_the_side(lever, found):
    # A third of a millimetre: what the worst of the bores' walls may be off without a bore being told from its own.
    assert small.greatest_error_mm(found.taken.poses, lever, small.PARTS["latch_lever"]()) < 0.3
    assert found.sure
    assert [link.used for link in found.links] == [True, True, True]
    assert found.taken.scale_of(1) == pytest.approx(1 / 1.002, abs=4e-4)  # 0.03 mm on the lever's 84 mm


def test_the_table_round_the_foot_is_cut_off_and_the_part_is_not(lever, ready):
    view, kept = lever[0], ready[0].keep_faces
    area = face_areas_mm2(Mesh(view.vertices_mm, view.faces))
    assert area[kept & ~view.is_part].sum() < 0.1 * area[~view.is_part].sum()
    heights = (view.vertices_mm[view.faces].mean(axis=1) @ view.to_part[:3, :3].T + view.to_part[:3, 3])[:, 2]
    above = view.is_part & (heights > 0.5)  # the scan's blend into the corner at the foot goes with the table
    assert area[~kept & above].sum() < 0.001 * area[above].sum()


def test_putty_at_the_foot_of_one_view_is_cut_off_where_the_others_show_bare_part(lever, found):
    for view, kept in zip(lever, found.keep_faces, strict=True):
        area = face_areas_mm2(Mesh(view.vertices_mm, view.faces))
        assert area[kept & ~view.is_part].sum() < 5.0  # the blend where it clings to the part; it is 30 to 50 mm²
    area = face_areas_mm2(Mesh(lever[2].vertices_mm, lever[2].faces))
    assert area[~found.keep_faces[2] & lever[2].is_part].sum() < 0.001 * area[lever[2].is_part].sum()


def test_in_the_right_pose_nothing_is_impossible(lever, ready):
    right = small.true_pose(lever[1], lever[0])
    said = agreement_of(ready[0], ready[1], right, size_of(ready), 0.25)
    assert said.impossible < MOST_IMPOSSIBLE
    assert said.agree > 0.4


def test_the_view_that_fits_none_of_the_others_is_told_from_them(lever, ready):
    poses = {k: small.true_pose(lever[0], view) for k, view in enumerate(lever)}
    odd = poses | {2: poses[2] @ np.diag([1.0, -1.0, -1.0, 1.0])}
    assert judged(odd, ready, size_of(ready)).odd_one(MOST_IMPOSSIBLE) == 2
    assert judged({0: odd[0], 2: odd[2]}, ready, size_of(ready)).odd_one(MOST_IMPOSSIBLE) is None


def test_what_another_view_shows_beneath_putty_is_not_held_against_the_right_pose(lever, ready):
    """The lever stands on its edge in a ball of putty of 5 mm; from above the edge was seen bare."""
    said = agreement_of(ready[0], ready[2], small.true_pose(lever[2], lever[0]), size_of(ready), 0.25)
    assert said.impossible < MOST_IMPOSSIBLE
    marked = ready[2].asked.points_mm[said.second.putty] @ lever[2].to_part[:3, :3].T + lever[2].to_part[:3, 3]
    assert len(marked)
    assert np.quantile(small.PARTS["latch_lever"]().distance(marked), 0.2) > 0.3  # off the part by ten scatters


def test_a_way_that_makes_more_surface_is_another_part_though_either_view_lies_on_it(ready):
    """One outside laid on itself, and back to back with itself: a shell, and a closed part."""
    turned = np.diag([1.0, -1.0, -1.0, 1.0])
    shell = Arrangement({0: np.eye(4), 1: np.eye(4)}, {})
    closed = Arrangement({0: np.eye(4), 1: turned}, {})
    views = [ready[0], ready[0]]
    assert alike(shell, shell, views)
    assert not alike(closed, shell, views)
    assert not alike(shell, closed, views)


@pytest.mark.parametrize(("gap_mm", "what"), [(8.0, "pressed"), (9.0, "pressed"), (4.0, "buried")])
def test_faces_pulled_together_onto_or_past_each_other_are_impossible(lever, ready, gap_mm, what):
    """The lever is 8 mm thick: moved by that along its axis its faces lie back to back, by more apart."""
    pulled = np.eye(4)
    pulled[2, 3] = gap_mm
    to_part, from_part = lever[1].to_part, np.linalg.inv(lever[0].to_part)
    said = agreement_of(ready[1], ready[0], from_part @ pulled @ to_part, size_of(ready), 0.25)
    assert said.impossible > 10 * MOST_IMPOSSIBLE
    assert getattr(said.first, what).any() or getattr(said.second, what).any()


def wall(at_mm: float, facing: float, scatter_mm: float = 0.01) -> View:
    """A flat of 40 by 40 mm across x, seen from the side it faces."""
    steps = np.linspace(0.0, 40.0, 41)
    y, z = (each.ravel() for each in np.meshgrid(steps, steps, indexing="ij"))
    a = np.arange(41 * 41).reshape(41, 41)[:-1, :-1].ravel()
    faces = np.concatenate([np.column_stack([a, a + 41, a + 42]), np.column_stack([a, a + 42, a + 1])])
    corners = np.column_stack([at_mm + np.random.default_rng(3).normal(0.0, scatter_mm, len(y)), y, z])
    return view_of(scan_of(Mesh(corners, faces if facing > 0 else faces[:, ::-1])))


def test_a_flat_without_scatter_is_no_table_of_a_part_and_stays():
    assert wall(0.0, 1.0, scatter_mm=0.0).keep_faces.all()


def test_what_lies_behind_putty_is_not_held_against_a_pose():
    """However high the lump rises: a flat that another view shows 1 mm before where it was seen."""
    flat, raised = wall(0.0, 1.0), wall(1.0, 1.0)
    none = np.zeros(len(raised.cloud), dtype=bool)
    part, lump = (replace(raised, foot=none, putty=putty) for putty in (none, ~none))
    assert said_of(flat, part, np.eye(4), 57.0, 0.12).behind.mean() > 0.9
    assert not said_of(flat, lump, np.eye(4), 57.0, 0.12).behind.any()


def test_what_stands_behind_a_wall_is_in_it_unless_some_view_shows_where_the_wall_ends():
    """A box's outside, a boss in it seen through its mouth, and the wall's inside, 3 mm behind, in a third view."""
    outside, boss, inside = wall(0.0, -1.0), wall(8.0, -1.0), wall(3.0, 1.0)
    in_place = {0: np.eye(4), 1: np.eye(4)}
    few = replace(boss, asked_foot=np.abs(boss.asked.points_mm[:, 1] - 20.0) > 1.5)  # what is at its foot is not asked
    assert judged(in_place, [outside, few], 100.0).impossible > MOST_IMPOSSIBLE
    assert judged(in_place | {2: np.eye(4)}, [outside, few, inside], 100.0).impossible == 0.0


@pytest.mark.parametrize(("boss_mm", "hangs_mm"), [(0.0, 0.0), (6.0, 6.0)])
def test_what_hangs_below_the_foot_of_a_view_of_a_box_turned_over_is_the_boss_of_the_other(boss_mm, hangs_mm):
    """A box of 38 by 38 by 12 mm without a bottom, seen from above, closed by itself turned over about x."""
    steps = np.arange(41.0)
    x, y = (each.ravel() for each in np.meshgrid(steps, steps, indexing="ij"))
    inside = (np.abs(x - 20.0) < 19.5) & (np.abs(y - 20.0) < 19.5)
    z = np.where(inside, 12.0, 0.0) + boss_mm * ((np.abs(x - 12.0) < 4.5) & (np.abs(y - 12.0) < 4.5))
    a = np.arange(41 * 41).reshape(41, 41)[:-1, :-1].ravel()
    faces = np.concatenate([np.column_stack([a, a + 41, a + 42]), np.column_stack([a, a + 42, a + 1])])
    box = view_of(scan_of(Mesh(np.column_stack([np.clip(x, 1, 39), np.clip(y, 1, 39), z]), faces)))
    over = np.diag([1.0, -1.0, -1.0, 1.0])
    over[1:3, 3] = 40.0, 12.0
    # Points are spread over the box at random: the hull of those falls short of its corners.
    assert hangs_out_mm(Arrangement({0: np.eye(4), 1: over}, {}), [box, box]) == pytest.approx(hangs_mm, abs=0.5)
    whole, twice = (judged({0: np.eye(4), 1: way}, [box, box], 56.0) for way in (over, np.eye(4)))
    assert twice.agree == 1.0
    # Even where nothing hangs below its foot the box may be no more than its outside, seen twice.
    assert may_be_one_side(replace(twice, one_way=0.4), whole, [box, box])


def test_views_without_common_surface_are_refused_with_that_sentence(lever):
    shown = []
    for view, way in zip(lever, (UP, DOWN), strict=False):
        mesh = Mesh(view.vertices_mm, view.faces)
        facing = face_normals(mesh) @ (np.asarray(way) @ np.linalg.inv(view.to_part)[:3, :3].T) > 0.9
        shown.append(replace(view, faces=view.faces[facing], is_part=view.is_part[facing]))
    with pytest.raises(CannotJoin, match="do not overlap") as refused:
        place_views(scans_of(shown))
    assert "third view from the side" in refused.value.do
    assert "100 to 200 mm" in refused.value.do


def test_a_round_cap_laid_on_its_own_face_may_be_whole_and_a_lever_may_not(ready):
    """Turned over, the second view would close the cap; the lever's bosses would stand in its own material."""
    view = small.view(dotted.round_cap(), small.How(UP, **QUICK), np.random.default_rng(5))
    for seen_twice, whole in ((view_of(scan_of(Mesh(view.vertices_mm, view.faces))), True), (ready[0], False)):
        views = [seen_twice, seen_twice]
        size_mm = size_of(views)
        laid = finest(judged({0: np.eye(4), 1: np.eye(4)}, views, size_mm), views, size_mm)
        assert may_be_whole(laid, views, size_mm) == whole


def about_z(*turns_deg: float) -> list[Met]:
    c, s = np.cos(np.radians(turns_deg)), np.sin(np.radians(turns_deg))
    poses = np.tile(np.eye(4), (len(turns_deg), 1, 1))
    poses[:, 0, 0], poses[:, 0, 1], poses[:, 1, 0], poses[:, 1, 1] = c, -s, s, c
    return [Met(pose, 1.0) for pose in poses]


def test_of_a_hexagon_s_six_ways_three_tell_the_others_and_of_a_round_part_none_do(ready):
    """The three that are found lie 60 and 180 degrees on from one another."""
    points_mm = ready[0].asked.points_mm
    told = ways_that_follow(about_z(10.0, 70.0, 250.0), points_mm, 1.0)
    turns_deg = np.degrees(np.arctan2(told[:, 1, 0], told[:, 0, 0])) % 360.0
    assert sorted(turns_deg) == pytest.approx([130.0, 190.0, 310.0], abs=1e-6)
    assert len(ways_that_follow(about_z(0.0, 37.0, 80.0, 201.0), points_mm, 1.0)) == 0


@pytest.mark.long
def test_a_rail_that_is_its_own_twin_but_for_a_boss_is_put_right():
    rail = seen("near_twin", 13, (UP, {}), (ASIDE, {}))
    found = place_views(scans_of(rail))
    assert small.greatest_error_mm(found.taken.poses, rail, small.PARTS["near_twin"]()) < 0.3


@pytest.mark.long
def test_a_box_seen_twice_from_above_is_not_surely_closed_by_its_second_view():
    found = place_views(scans_of(seen("pump_cover", 2, (UP, {}), ((0.3, 0.2, 1.0), {}))))
    assert not found.sure
    assert "one side seen twice" in found.why
