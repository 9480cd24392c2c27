"""The unit of a file: its own word, the sheet's word, or what the sizes leave."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from tests.made_up_rules import EXPECTATION
from tests.reading.examples import box, overall, ring, rules, sheet, stl_binary, stl_text, three_mf
from verifier.errors import UnitUnclear
from verifier.mesh import Mesh, extents_mm
from verifier.reading import read_scan
from verifier.reading.extents import robust_extents
from verifier.reading.raw_mesh import RawMesh
from verifier.reading.unit import FACTORS_MM, settle_unit

PER_MM = {"mm": 1.0, "cm": 0.1, "m": 0.001, "in": 1 / 25.4}


def settle(mesh, of_sheet, stated=None):
    return settle_unit(RawMesh(mesh.vertices_mm, mesh.faces, stated), of_sheet, EXPECTATION, "latch_lever.stl")


def test_factors_are_those_of_the_3mf_core_specification():
    """3MF core specification 1.4.0, unit attribute; inch and foot as agreed in 1959."""
    assert FACTORS_MM == {"micron": 0.001, "mm": 1, "cm": 10, "m": 1000, "in": 25.4, "ft": 304.8}


def test_a_block_in_inches_becomes_millimetres_by_the_sheet_s_length(dropped):
    """A block of 5 x 2.5 x 1.375 inches is 127 x 63.5 x 34.925 mm."""
    scan = read_scan(dropped(stl_binary(box(5, 2.5, 1.375))), rules(), overall(127.1))
    assert (scan.unit.name, scan.unit.known_by) == ("in", "sizes")
    assert extents_mm(scan.mesh) == pytest.approx((127, 63.5, 34.925), abs=1e-9)


def test_a_module_in_metres_becomes_millimetres(dropped):
    """A text STL of 0.044 x 0.014 x 0.047 is 44 x 14 x 47 mm; in no other unit would it be a part at all."""
    path = dropped(stl_text(box(0.044, 0.014, 0.047)))
    for known_by, of_sheet in (("sizes", overall(47.0)), ("guess", None)):
        scan = read_scan(path, rules(), of_sheet)
        assert (scan.unit.name, scan.unit.known_by) == ("m", known_by)
        assert extents_mm(scan.mesh) == pytest.approx((44, 14, 47), abs=1e-9)


@given(
    unit=st.sampled_from(list(PER_MM)),
    sides=st.tuples(st.floats(20, 400), st.floats(0.05, 1), st.floats(0.05, 1)),
    seed=st.integers(0, 2**32 - 1),
    scanner=st.floats(0.97, 1.03),
)
@settings(max_examples=150, deadline=None)
def test_the_unit_of_a_box_of_any_shape_in_any_pose_is_found_by_its_length(unit, sides, seed, scanner):
    """Cubes too, in which the principal axes lie anywhere."""
    longest = sides[0]
    mesh = box(longest, longest * sides[1], longest * sides[2])
    points = np.random.default_rng(seed).uniform(-0.5, 0.5, (4000, 3)) * extents_mm(mesh)
    points[np.arange(4000), np.arange(4000) % 3] = (np.arange(4000) % 2 - 0.5) * extents_mm(mesh)[np.arange(4000) % 3]
    turned = Rotation.random(random_state=seed % 2**32).apply(points) * scanner * PER_MM[unit]
    found, _ = settle(Mesh(turned, np.array([[0, 1, 2]])), overall(longest))
    assert (found.name, found.known_by) == (unit, "sizes")


def test_specks_far_away_do_not_change_the_unit():
    """One point in a thousand, ten parts' lengths off, as dust on the turntable leaves them."""
    rng = np.random.default_rng(3)
    points = rng.uniform(-0.5, 0.5, (20_000, 3)) * [84, 22, 9]
    points[:20] += rng.normal(0, 800, (20, 3))
    found, notices = settle(Mesh(points, np.array([[0, 1, 2]])), overall(84))
    assert (found.name, notices) == ("mm", ())


def test_a_support_surface_left_under_the_part_is_said_and_the_unit_still_found():
    part, table = ring(80, 40).vertices_mm, np.random.default_rng(1).uniform(-140, 140, (4000, 3)) * [1, 1, 0]
    found, notices = settle(Mesh(np.concatenate([part, table]), np.array([[0, 1, 2]])), overall(110))
    assert (found.name, found.known_by) == ("mm", "sizes")
    assert "support surface" in notices[0]


def test_without_an_overall_size_the_longest_length_is_held_against_the_diagonal():
    rows = [
        {"name": "pivots", "kind": "centre distance", "between": ["a", "b"], "reading": 54.0},
        {"name": "bend", "kind": "angle", "reading": 90.0},
        {"name": "plate", "kind": "thickness", "nominal": 9.0},
    ]
    found, _ = settle(box(scale=0.1), sheet(size=rows))
    assert found.name == "cm"


@pytest.mark.parametrize("stated", [None, "mm"])
def test_a_thickness_alone_says_nothing_against_a_long_part(stated):
    """A panel 500 mm long whose sheet has its wall of 3 mm and no more."""
    rows = [{"name": "wall", "kind": "thickness", "reading": 3.0}]
    found, notices = settle(box(500.0, 300.0, 40.0), sheet(size=rows, **({"unit": stated} if stated else {})))
    assert (found.name, found.known_by) == ("mm", "sheet" if stated else "guess")
    assert bool(notices) == (stated is None)
    with pytest.raises(UnitUnclear, match="does not go"):  # in micrometres the part is thinner than its own wall
        settle(box(500.0, 300.0, 40.0), sheet(size=rows, unit="micron"))


def test_where_a_length_leaves_two_units_the_smaller_scan_is_taken_and_the_other_named():
    rows = [{"name": "pivots", "kind": "centre distance", "between": ["a", "b"], "reading": 25.0}]
    found, notices = settle(Mesh(box(3, 2, 1).vertices_mm, box().faces), sheet(size=rows))
    assert (found.name, found.known_by) == ("cm", "sizes")
    assert "less likely in" in notices[0]


def test_a_length_that_fits_no_unit_is_refused_with_its_numbers_and_the_line_to_write():
    with pytest.raises(UnitUnclear, match=r"its length of 4\.2 beside 900 mm on the sheet fits neither") as refused:
        settle(box(4.2, 1, 1), overall(900))
    assert 'unit = "in"' in refused.value.do


def test_the_sheet_s_word_settles_it_without_sizes():
    found, notices = settle(box(3.3, 0.9, 0.4), sheet(unit="in"))
    assert (found.name, found.factor_mm, found.known_by, notices) == ("in", 25.4, "sheet", ())


@pytest.mark.parametrize(("in_file", "on_sheet", "said"), [("mm", None, "the file"), (None, "mm", "the sheet")])
def test_a_unit_that_contradicts_the_sizes_is_refused_whoever_states_it(in_file, on_sheet, said):
    with pytest.raises(UnitUnclear, match=f"{said} says its unit is mm") as refused:
        settle(box(5, 2.5, 1.375), overall(127.0, **({"unit": on_sheet} if on_sheet else {})), in_file)
    assert 'unit = "in"' in refused.value.do


def test_the_sheet_corrects_a_file_that_states_the_wrong_unit(dropped):
    path = dropped(three_mf(box(5, 2.5, 1.375)), "latch_lever.3mf")
    with pytest.raises(UnitUnclear):
        read_scan(path, rules(), overall(127.0))
    scan = read_scan(path, rules(), overall(127.0, unit="in"))
    assert (scan.unit.name, scan.unit.known_by) == ("in", "sheet")
    assert "the sheet was believed" in scan.notices[0]
    assert extents_mm(scan.mesh)[0] == pytest.approx(127)


def test_file_and_sheet_of_one_mind_need_no_notice(dropped):
    scan = read_scan(dropped(three_mf(box()), "latch_lever.3mf"), rules(), overall(84.0, unit="mm"))
    assert (scan.unit.known_by, scan.notices) == ("file", ())


def test_without_sheet_and_unit_millimetres_are_guessed_and_the_guess_is_said(dropped):
    for of_sheet in (None, sheet(), sheet(size=[{"name": "length", "kind": "overall"}])):
        scan = read_scan(dropped(stl_binary(box())), rules(), of_sheet)
        assert (scan.unit.name, scan.unit.known_by) == ("mm", "guess")
        assert scan.notices == ("The unit was taken to be mm, which makes the part about 85 mm long: this is a guess.",)


def test_a_file_too_small_and_too_ambiguous_to_guess_is_refused():
    with pytest.raises(UnitUnclear, match="fits cm and in for a part between 10 and 600 mm"):
        settle(box(4, 2, 1), None)
    with pytest.raises(UnitUnclear, match="fits no unit"):
        settle(box(0.004, 0.002, 0.001), None)


def test_an_overall_width_is_held_against_the_width():
    rows = [{"name": "width", "kind": "overall", "along": "width", "reading": 22.0}]
    found, notices = settle(Mesh(box(200, 22, 9).vertices_mm, box().faces), sheet(size=rows))
    assert (found.name, notices) == ("mm", ())


@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_the_lengths_of_a_cloud_do_not_depend_on_its_pose(seed):
    points = ring(80, 40, 40, 10).vertices_mm * [1.6, 1, 1]
    turned = Rotation.random(random_state=seed).apply(points) + 500
    # A millimetre: the share of points trimmed moves the ends a little.
    assert robust_extents(turned) == pytest.approx(robust_extents(points), abs=1.0)
