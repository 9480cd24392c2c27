"""Which rows of a report can be read on the print, and how long they are in the mesh."""

import pytest

from tests.reporting import examples
from verifier.inspection import BoreTable, FeatureTable
from verifier.learning.row import print_rows

LENGTH = examples.size("overall length", walls=2)
PIVOT = examples.PIVOT.model_copy(update={"walls": -2})
REBUILT = BoreTable(
    name="bore 1", row="pivot bore", diameter_mm=11.93, pin_diameter_mm=11.88, roundness_mm=0.04, arc_deg=360.0,
    depth_mm=12.1, through=True, note="", rebuilt=True, upright=True, printed_diameter_mm=12.0,
)  # fmt: skip


def report(sizes, *, scale_applied=True, coat_applied=True, bores=(REBUILT,), **plan):
    told = examples.inspection(sizes=sizes, bores=bores)
    return told.model_copy(
        update={
            "scale": told.scale.model_copy(update={"applied": scale_applied}),
            "coat": told.coat.model_copy(update={"applied": coat_applied}),
            "print": told.print.model_copy(update={"hole_allowance_mm": 0.2, **plan}),
        }
    )


def test_a_length_is_as_scanned_less_what_was_taken_off_enlarged_against_shrinkage():
    """120.612 on the scan, coat 0.041 on two walls, scale 1.00412, shrinkage 0.5 % in the layers."""
    (row,) = print_rows(report((LENGTH,)))
    assert row.model_mm == pytest.approx((120.612 - 2 * 0.041) / 1.00412 / (1 - 0.005), rel=1e-12)
    (left,) = print_rows(report((LENGTH,), scale_applied=False, coat_applied=False))
    assert left.model_mm == pytest.approx(120.612 / (1 - 0.005), rel=1e-12)
    assert (row.rise, row.walls, row.upright_hole) == (0.0, 2, False)


def test_a_length_the_sheet_had_made_longer_is_as_long_as_it_was_made():
    (row,) = print_rows(
        report((LENGTH.model_copy(update={"reshaped_by_mm": 100.0}),), scale_applied=False, coat_applied=False)
    )
    assert row.model_mm == pytest.approx((120.612 + 100.0) / (1 - 0.005), rel=1e-12)


def test_a_rebuilt_bore_is_as_it_was_made():
    (row,) = print_rows(report((PIVOT,)))
    assert (row.model_mm, row.u_model_mm) == (pytest.approx((12.0 + 0.2) / (1 - 0.005)), 0.0)
    assert row.upright_hole


def test_a_height_is_enlarged_by_the_other_shrinkage_whatever_rounding_did_to_the_direction():
    tall = LENGTH.model_copy(update={"points_mm": ((0.0, 0.0, -6.0), (0.0, 0.0, 6.0))})
    (row,) = print_rows(report((tall,), scale_applied=False, coat_applied=False, build_direction=(0.0, 0.0, 1.000001)))
    assert row.rise == 1.0
    assert row.model_mm == pytest.approx(120.612 / (1 - 0.004), rel=1e-12)


def test_an_overall_size_is_taken_in_its_own_direction_not_between_the_places_it_ends_on():
    askew = LENGTH.model_copy(update={"points_mm": ((-60.0, 0.0, -6.0), (60.0, 9.0, 6.0))})
    extent = FeatureTable(
        name="extent 1", kind="extent", centre_mm=(0.0, 0.0, 0.0), direction=(1.0, 0.0, 0.0), size_mm=120.6,
        u_size_mm=0.01,
    )  # fmt: skip
    told = report((askew,))
    (row,) = print_rows(told.model_copy(update={"features": (*told.features, extent)}))
    assert row.rise == 0.0


@pytest.mark.parametrize(
    "size",
    [
        examples.ANGLE.model_copy(update={"walls": 0, "set_size": 1}),
        LENGTH.model_copy(update={"kind": "flatness", "walls": 0}),
        examples.NOT_FOUND,
        LENGTH.model_copy(update={"set_size": 2}),
        LENGTH.model_copy(update={"walls": None}),  # a report of an earlier version
    ],
    ids=["angle", "flatness", "not found", "several places", "earlier version"],
)
def test_what_cannot_be_compared_is_left_out(size):
    assert print_rows(report((size,))) == ()


def test_a_bore_that_prints_lying_or_filled_is_left_out():
    for change in ({"upright": False}, {"upright": None}, {"printed_diameter_mm": None, "upright": False}):
        assert print_rows(report((PIVOT,), bores=(REBUILT.model_copy(update=change),))) == ()
