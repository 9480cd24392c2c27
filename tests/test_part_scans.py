from pathlib import Path

import pytest

from verifier.errors import CannotJoin, CannotOpen
from verifier.part_scans import check_number, parts_in, scans_of_part
from verifier.rulebook import Sheet


def test_files_with_the_number_of_a_scan_belong_together_and_others_are_a_part_each():
    given = [Path("seat_panel.2.ply"), Path("latch_lever.stl"), Path("seat_panel.1.ply"), Path("fence_clip.ply")]
    found = parts_in(given)
    assert [scans.part for scans in found] == ["seat_panel", "latch_lever", "fence_clip"]
    assert [file.name for file in found[0].files] == ["seat_panel.1.ply", "seat_panel.2.ply"]


def test_the_tenth_scan_comes_after_the_second():
    given = [Path(f"mudguard.{k}.stl") for k in (10, 2, 1)]
    assert [file.name for file in parts_in(given)[0].files] == ["mudguard.1.stl", "mudguard.2.stl", "mudguard.10.stl"]


def test_a_folder_is_one_part_whatever_its_scans_are_called(tmp_path):
    folder = tmp_path / "trough_lid"
    folder.mkdir()
    for name in ("upper.ply", "lower.stl", "notes.txt", ".hidden.ply"):
        (folder / name).write_bytes(b"")
    scans = scans_of_part(folder)
    assert scans.part == "trough_lid"
    assert [file.name for file in scans.files] == ["lower.stl", "upper.ply"]
    assert scans_of_part(scans.files).part == "trough_lid"


def test_an_empty_folder_is_refused(tmp_path):
    with pytest.raises(CannotOpen, match="no scan"):
        scans_of_part(tmp_path)


@pytest.mark.parametrize(
    ("names", "wanted", "sentence"),
    [
        (["seat_panel.1.ply"], None, "the others are missing"),
        (["seat_panel.1.ply"], 2, "there is one scan"),
        (["seat_panel.1.ply", "seat_panel.3.ply"], 3, "Add scan 2"),
        ([f"seat_panel.{k}.ply" for k in range(1, 14)], None, "12 at most"),
    ],
)
def test_missing_scans_and_too_many_are_said(names, wanted, sentence):
    sheet = Sheet(part="seat_panel", scans=wanted)
    with pytest.raises(CannotJoin, match=sentence):
        check_number(scans_of_part([Path(name) for name in names]), sheet)


def test_as_many_as_the_sheet_says_are_taken():
    check_number(scans_of_part([Path("seat_panel.1.ply"), Path("seat_panel.2.ply")]), Sheet(part="seat_panel", scans=2))
