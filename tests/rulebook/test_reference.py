from dataclasses import replace

import pytest

from tests.rulebook.shop import sheet_on_disk, shipped_rules
from verifier.errors import RuleMistake
from verifier.rulebook import load_sheet
from verifier.rulebook.reference import file_named, reference_path

HEAD = 'part = "latch_lever"\n'


@pytest.mark.parametrize("named", ["last PASS", "lever.stl", "references/lever.stl", "mirror of references/left.stl"])
def test_a_sheet_names_a_file_beside_the_rules_or_the_last_pass(tmp_path, named):
    sheet = load_sheet(sheet_on_disk(tmp_path, f'{HEAD}reference = "{named}"\n'), shipped_rules())
    assert sheet.reference == named


@pytest.mark.parametrize(
    "named",
    [
        *(
            "/etc/lever.stl",
            "../lever.stl",
            "a/../../lever.stl",
            "C:/lever.stl",
            "C:lever.stl",
            "//host/share/lever.stl",
        ),
        *(r"..\\lever.stl", r"\\\\host\\share\\lever.stl", "mirror of ../left.stl", "mirror of "),
    ],
)
def test_a_sheet_names_no_file_outside_the_rules_folder(tmp_path, named):
    with pytest.raises(RuleMistake, match="a reference is a file in the rules folder") as refused:
        load_sheet(sheet_on_disk(tmp_path, f'{HEAD}reference = "{named}"\n'), shipped_rules())
    assert refused.value.where == "latch_lever.toml, line 2"


def test_the_mirror_image_of_a_file_is_told_from_the_file():
    assert file_named("mirror of left.stl") == ("left.stl", True)
    assert file_named("left.stl") == ("left.stl", False)


def test_a_missing_file_and_a_link_out_of_the_folder_are_refused(tmp_path):
    rules = replace(shipped_rules(), folder=tmp_path / "rules")
    rules.folder.mkdir()
    (tmp_path / "secret.stl").write_text("solid")
    (rules.folder / "here.stl").write_text("solid")
    (rules.folder / "link.stl").symlink_to(tmp_path / "secret.stl")
    assert reference_path("here.stl", rules, "latch_lever.toml") == (rules.folder / "here.stl").resolve()
    for name in ("gone.stl", "link.stl"):
        with pytest.raises(RuleMistake, match=f"no file '{name}' in the rules folder"):
            reference_path(name, rules, "latch_lever.toml")
