from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from tests.joining import views
from tests.joining.test_laid_together import scan_of
from verifier.errors import CannotJoin
from verifier.joining.continuing import carried_on
from verifier.joining.outline import Outline, outline_of
from verifier.joining.painted_sides import side_told_by_paint
from verifier.joining.posed import Placing
from verifier.joining.profile import VERTEX_MM, rim_heights
from verifier.joining.rows import Moving, Target
from verifier.joining.side import Side, side_of
from verifier.joining.thickness import THROUGH_SHARE, calliper_correction_mm, even_wall_mm, gap_between
from verifier.joining.twin_sides import alike
from verifier.joining.two_sides import MOST_GAP_U_MM, Pair, pair_of, place_two_sides
from verifier.mesh import Mesh, face_areas_mm2
from verifier.rulebook import Sheet, SheetRow

# A sixth of the triangles of a real scan: the rim at 1.6 mm spacing, the face at 12 mm.
QUICK = {"spacing_mm": 1.6, "inner_mm": 12.0, "past_rim_mm": 2.4, "noise_mm": 0.05, "warp_mm": 0.15}


@dataclass(frozen=True)
class Tried:
    part: views.Large
    first: views.View
    second: views.View
    found: Placing

    @property
    def errors(self) -> tuple[float, float]:
        return views.errors(self.found.taken.poses[1], self.first, self.second, self.part)


def two_views(part: views.Large, seed: int, **fault: float) -> tuple[views.View, views.View]:
    rng = np.random.default_rng(seed)
    how = views.random_fault(rng, **(QUICK | fault))
    return views.view(part, 1, how, rng), views.view(part, -1, how, rng)


def scans_of(first: views.View, second: views.View):
    return tuple(scan_of(Mesh(view.vertices_mm, view.faces)) for view in (first, second))


def tried(part: views.Large, seed: int, sheet: Sheet | None = None, **fault: float) -> Tried:
    first, second = two_views(part, seed, **fault)
    return Tried(part, first, second, place_two_sides(*scans_of(first, second), sheet))


@pytest.fixture(scope="module")
def panel() -> Tried:
    """Seen 1.7 mm past the middle of its rim, one spacing of its points: of what both saw nothing is free of skirt."""
    return tried(views.seat_panel(), seed=31, past_rim_mm=1.7)


def test_two_sides_of_a_large_part_come_together_within_a_millimetre(panel):
    turn_deg, away_mm = panel.errors
    assert turn_deg < 0.2
    assert away_mm < 1.0
    assert panel.found.sure


def test_heights_of_a_rim_without_rounding_are_taken_where_it_was_seen_turning_under(panel):
    """Where a skirt was cut off the scan ends above the fold: here by 1 mm along two thirds of the rim."""
    side = side_of(scans_of(panel.first, panel.second)[0])
    knife = replace(side, clean=np.zeros_like(side.clean))
    turn = np.linspace(0.0, 2.0 * np.pi, 150, endpoint=False)
    around, turning = np.column_stack([np.cos(turn), np.sin(turn)]), np.arange(150) < 50
    heights = rim_heights(knife, Outline(600.0 * around, around, np.where(turning, 0.0, 1.0), turning))
    assert np.array_equal(heights.at_mm[:, 2], np.zeros(50))


def test_the_skirt_is_cut_off_and_the_part_is_not(panel):
    for view, kept in zip((panel.first, panel.second), panel.found.keep_faces, strict=True):
        area = face_areas_mm2(Mesh(view.vertices_mm, view.faces))
        assert area[kept & ~view.is_part].sum() < 0.05 * area[~view.is_part].sum()
        assert area[~kept & view.is_part].sum() < 0.001 * area[view.is_part].sum()


def test_the_outline_of_a_scan_that_goes_on_beneath_the_rim_is_the_outermost_line():
    """The crease between wall and support lies 2.4 mm further in there: 7 mm less their share where they turn under."""
    panel = views.seat_panel()
    view = two_views(panel, seed=31, past_rim_mm=6.0)[0]
    side = side_of(scan_of(Mesh(view.vertices_mm, view.faces)))
    to_part = view.to_part @ np.linalg.inv(side.to_side)
    rim = side.rim_mm @ to_part[:3, :3].T + to_part[:3, 3]
    further_in = panel.radius(np.arctan2(rim[:, 1], rim[:, 0])) - np.hypot(rim[:, 0], rim[:, 1])
    assert np.quantile(further_in, 0.99) < 0.8  # half a spacing


@pytest.mark.long
def test_a_twisted_part_whose_scans_differ_in_scale_comes_together_with_that_scale():
    first, _ = two_views(views.mudguard(), seed=34)
    _, second = two_views(views.mudguard(), seed=34, scale=0.003)
    wing = Tried(views.mudguard(), first, second, place_two_sides(*scans_of(first, second), None))
    assert wing.errors[1] < 1.0
    assert wing.found.taken.scale_of(1) == pytest.approx(1 / 1.003, abs=8e-4)  # half a millimetre at the ends


def test_a_bump_of_two_millimetres_on_the_rim_tells_a_part_from_itself_turned_round():
    lid = tried(views.trough_lid(bump_mm=2.0), seed=35)
    assert lid.errors[1] < 1.0
    assert lid.found.sure
    assert len(lid.found.alternatives) == 2
    assert lid.found.alternatives[1].score > lid.found.alternatives[0].score + 100


def test_a_part_that_is_the_same_turned_round_leaves_no_doubt():
    lid = tried(views.trough_lid(bump_mm=0.0), seed=36)
    assert lid.errors[1] < 1.0
    assert lid.found.sure


def test_a_boss_or_a_thicker_end_tells_a_lid_from_its_half_turn_though_its_rim_does_not():
    """The boss, 80 mm across, is a ninetieth of the face."""
    view = two_views(views.trough_lid(bump_mm=0.0), seed=36)[0]
    side = side_of(scan_of(Mesh(view.vertices_mm, view.faces)))
    outline = outline_of(side)
    to_part = view.to_part @ np.linalg.inv(side.to_side)
    half_turn = np.linalg.inv(to_part) @ np.diag([-1.0, -1.0, 1.0, 1.0]) @ to_part

    def is_its_own_twin(raised_mm: np.ndarray) -> bool:
        raised = replace(side, face_mm=side.face_mm + raised_mm[:, None] * [0.0, 0.0, 1.0])
        heights = rim_heights(side, outline)
        return alike(np.eye(4), half_turn, Target(raised, outline, heights), Moving(raised, outline, heights))

    x, y = (side.face_mm @ to_part[:3, :3].T + to_part[:3, 3])[:, :2].T
    assert is_its_own_twin(0.0 * x)
    assert not is_its_own_twin(3.0 * (np.hypot(x - 300.0, y - 60.0) < 40.0))
    assert not is_its_own_twin(0.005 * x)  # 3 mm at either end


@pytest.mark.long
def test_a_knife_rim_takes_its_gap_from_the_calliper():
    """The lens is 50 mm thick where it is thickest: 2 x (0.3 + 24.7)."""
    sheet = Sheet(part="feed_bin_lid", size=(SheetRow(name="thickest", kind="thickness", reading=50.0),))
    lens = tried(views.feed_bin_lid(), 37, sheet)
    assert lens.found.calliper_mm == 50.0
    assert lens.errors[1] < 1.0


@pytest.fixture(scope="module")
def pair() -> Pair:
    return pair_of(*scans_of(*two_views(views.seat_panel(), seed=38)))


def painted(pair: Pair, paint: Callable[[np.ndarray], np.ndarray]) -> tuple[Target, Moving]:
    """Both sides with colours by where the panel's corners truly lie; the second seen at four fifths of the light."""
    both = []
    for view, side, light in zip(
        two_views(views.seat_panel(), seed=38), (pair.target.side, pair.moving.side), (1.0, 0.8), strict=True
    ):
        colours = light * paint(view.vertices_mm @ view.to_part[:3, :3].T + view.to_part[:3, 3])
        both.append(replace(side, scan=replace(side.scan, colours=colours.astype(np.uint8))))
    target, moving = pair.target, pair.moving
    return Target(both[0], target.outline, target.heights), replace(moving, side=both[1])


def test_paint_along_the_rim_tells_a_way_from_the_half_turn_of_it(pair):
    first, second = two_views(views.seat_panel(), seed=38)
    true = pair.target.side.to_side @ views.true_pose(first, second) @ np.linalg.inv(pair.moving.side.to_side)
    turned = np.diag([-1.0, -1.0, 1.0, 1.0]) @ true
    spots = np.random.default_rng(3).normal(size=(20, 3)) / 40.0
    told = side_told_by_paint(
        [turned, true],
        *painted(pair, lambda at: 120.0 + 60.0 * np.sign(np.cos(at @ spots.T).sum(axis=1))[:, None] * [1, 0, 0]),
    )
    assert told == 1
    assert side_told_by_paint([turned, true], *painted(pair, lambda at: np.full(at.shape, 120.0))) is None


def rounded(pair: Pair, radius_mm: float, to_deg: float, gap_mm: float = 0.0, flat_mm: float = 0.0) -> list[Side]:
    """The pair's sides with a ring of rounded rim for their bands, seen from 35 degrees of slope to near its middle.

    gap_mm : how much too far below the first the second is
    flat_mm : height of an upright wall between the two roundings, of which each side sees its half
    """
    rng = np.random.default_rng(8)
    sides = []
    for side, over, below in ((pair.target.side, 1.0, 0.0), (pair.moving.side, -1.0, gap_mm)):
        turn, slope = rng.uniform(0.0, 2.0 * np.pi, 12_000), np.radians(rng.uniform(to_deg, 35.0, 12_000))
        wall = rng.uniform(size=12_000) < (0.4 if flat_mm else 0.0)
        slope[wall] = 0.0
        normals = np.column_stack([np.cos(slope) * np.cos(turn), np.cos(slope) * np.sin(turn), over * np.sin(slope)])
        at = (radius_mm + rng.normal(0.0, 0.08, 12_000))[:, None] * normals
        at[:, :2] += 400.0 * np.column_stack([np.cos(turn), np.sin(turn)])
        at[:, 2] += 0.5 * over * flat_mm * np.where(wall, rng.uniform(size=12_000), 1.0) - below
        sides.append(replace(side, points_mm=at, normals=normals, clean=np.ones(len(at), dtype=bool)))
    return sides


def test_round_rims_are_carried_on_to_each_other_over_what_neither_side_saw(pair):
    """From 12 degrees of slope to 12 on the other side nothing is seen: 3 mm of rim."""
    rim = carried_on(np.eye(4), *rounded(pair, radius_mm=7.0, to_deg=12.0, gap_mm=1.2))
    assert rim is not None
    assert rim.is_round
    rise_mm = np.einsum("ij,ij->i", rim.to_mm - rim.from_mm, rim.up)
    assert np.median(rise_mm) == pytest.approx(1.2, abs=2.0 * VERTEX_MM)
    assert rim.common_u_mm < 0.5


@pytest.mark.parametrize(("radius_mm", "raised_mm"), [(3.0, 0.0), (1.5, 2.5)])
def test_a_rim_with_a_wall_between_its_roundings_is_not_taken_for_round(pair, radius_mm, raised_mm):
    """Carried on as if it were, its part would be thinner by some of the wall; raised, the walls lie on each other."""
    rim = carried_on(np.eye(4), *rounded(pair, radius_mm, to_deg=0.0, gap_mm=-raised_mm, flat_mm=5.0))
    assert rim is not None
    assert not rim.is_round
    assert rim.common_u_mm > MOST_GAP_U_MM


def test_a_thin_rim_seen_by_neither_side_to_its_middle_is_not_sure_and_wants_a_reading():
    found = tried(views.shell(), seed=39, past_rim_mm=1.6).found
    assert not found.sure
    assert found.why.startswith("How far apart the two sides lie is known to")
    assert "thickness of the wall with the calliper" in found.do


def test_sides_pulled_through_each_other_are_no_part(pair):
    pulled = np.eye(4)
    pulled[2, 3] = 40.0
    assert gap_between(pulled, pair.target.side, pair.moving.side).through_share > THROUGH_SHARE


@pytest.fixture(scope="module")
def thin() -> tuple[Side, Side, np.ndarray]:
    """Two sides of a shell of 3 mm, and the second's true pose."""
    first, second = two_views(views.shell(), seed=39)
    pair = pair_of(*scans_of(first, second))
    upper, lower = pair.target.side, pair.moving.side
    return upper, lower, upper.to_side @ views.true_pose(first, second) @ np.linalg.inv(lower.to_side)


def test_a_reading_of_a_wall_that_is_as_thick_all_over_sets_its_sides_apart(thin, pair):
    """They lie 0.6 mm too near on a dome, and warp of both scans is 0.15 mm; a rib's reading says nothing."""
    upper, lower, near = *thin[:2], thin[2].copy()
    near[2, 3] += 0.6
    wall_mm = even_wall_mm(near, upper, lower)
    gap = gap_between(near, upper, lower)

    def wanted(reading_mm: float) -> tuple[float, float] | None:
        sheet = Sheet(part="hay_rack_cover", size=(SheetRow(name="wall", kind="thickness", reading=reading_mm),))
        return calliper_correction_mm(gap, wall_mm, sheet, upper.length_mm)

    assert wanted(3.0) == pytest.approx((0.6, 3.0), abs=0.2)
    assert wanted(5.0) is None
    assert even_wall_mm(np.eye(4), pair.target.side, pair.moving.side) is None


def test_sides_that_touch_are_no_part(thin):
    """The lower face is pulled up to the upper one: the turn would look perfect."""
    upper, lower, true = thin
    pulled = true.copy()
    pulled[2, 3] += 3.0
    assert gap_between(true, upper, lower).through_share < THROUGH_SHARE
    assert gap_between(pulled, upper, lower).through_share > THROUGH_SHARE


def test_sides_that_stop_short_of_the_rim_are_refused_with_that_sentence():
    first, second = two_views(views.seat_panel(), seed=33, past_rim_mm=-3.0, skirt_share=0.0)
    with pytest.raises(CannotJoin, match="do not overlap") as refused:
        place_two_sides(*scans_of(first, second), None)
    assert "100 to 200 mm" in refused.value.do
