"""What a file is, is told by its content; a file that is no mesh is named for what it is."""

import pytest

from tests.reading.examples import box, rules, stl_binary
from verifier.errors import Malformed, NotAMesh, Truncated
from verifier.mesh import extents_mm
from verifier.reading import read_scan


@pytest.mark.parametrize(
    "header", [b"solid plate_holes", b"solid", b"ply\nformat", b"OFF", b"\xff\xd8\xff", b"PK\x03\x04"]
)
def test_a_binary_stl_is_known_by_its_length_whatever_its_header_says(dropped, header):
    """Of 22 STL files looked at, 7 of the 10 that begin with 'solid' are binary."""
    scan = read_scan(dropped(stl_binary(box(203.2, 304.8, 12.7), header)), rules())
    assert scan.source.format == "binary STL"
    assert extents_mm(scan.mesh) == pytest.approx((203.2, 304.8, 12.7), abs=1e-4)  # a 32-bit float's step


def test_a_text_taken_for_binary_would_announce_half_a_milliard_triangles_and_is_refused(dropped):
    """0x20202020 is four blanks: 538 976 288 triangles, as a text file reads at the place of the count."""
    with pytest.raises(Truncated, match="538,976,288"):
        read_scan(dropped(stl_binary(box(), b"solid", 0x20202020)), rules())


@pytest.mark.parametrize("change", [-1, +1, 2**31])
def test_a_binary_stl_headed_solid_whose_length_does_not_fit_is_refused(dropped, change):
    with pytest.raises((Truncated, Malformed), match=f"announces {12 + change:,} triangles"):
        read_scan(dropped(stl_binary(box(), b"solid", 12 + change)), rules())


@pytest.mark.parametrize(
    ("head", "name", "said"),
    [
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "latch_lever.ply", "JPEG"),
        (b"\x89PNG\r\n\x1a\n\0\0", "latch_lever.stl", "PNG"),
        (b"%PDF-1.7\n", "latch_lever.stl", "PDF"),
        (b"<!DOCTYPE html><html>", "latch_lever.3mf", "HTML"),
        (b"ISO-10303-21;\nHEADER;", "latch_lever.stl", "STEP"),
        (b"ASTM-E57\0\0", "latch_lever.ply", "point cloud"),
        (b"# .PCD v0.7\nVERSION 0.7\n", "latch_lever.obj", "point cloud"),
        (b"1.5 2.5 3.5\n1 2 3\n4 5 6\n7 8 9\n", "latch_lever.obj", "point cloud"),
        (b"1.5,2.5,3.5,255\n1,2,3,0\n4,5,6,0\n7,8,9,1\n", "latch_lever.stl", "point cloud"),
        (b"PK\x05\x06" + bytes(18), "latch_lever.3mf", "empty zip"),
        (b"Measured the lever today, pin sticks.\n" * 20, "latch_lever.stl", "plain text"),
        (b"Measured the lever today, pin sticks.\n" * 20, "latch_lever.ply", "no mesh format"),
        (bytes(range(1, 256)) * 3, "latch_lever", "no mesh format"),
    ],
)
def test_a_file_that_is_no_mesh_is_refused_by_the_name_of_what_it_is(dropped, head, name, said):
    with pytest.raises(NotAMesh, match=said) as refused:
        read_scan(dropped(head, name), rules())
    assert refused.value.where == name


def test_the_refusal_names_the_file_in_letters_that_can_be_printed(dropped):
    path = dropped(b"%PDF-1.7\n", "lever\x1b[2J.stl")
    with pytest.raises(NotAMesh) as refused:
        read_scan(path, rules())
    assert refused.value.where == "lever\ufffd[2J.stl"
