from verifier.inspection import DeviationTable, OtherPoseTable, SideTable, SpreadTable, WithinTable
from verifier.reporting import terminal
from verifier.reporting.deviation_words import deviation_in_words

from .examples import PASSED

POSE = ((1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0), (0.0, 0.0, 1.0, 0.0), (0.0, 0.0, 0.0, 1.0))


def spread(name: str, mean_mm: float) -> SpreadTable:
    return SpreadTable(
        name=name, area_mm2=120.0, mean_mm=mean_mm, rms_mm=0.2, least_mm=mean_mm - 0.1, greatest_mm=mean_mm + 0.1
    )


def deviation(**changes) -> DeviationTable:
    told = {
        "reference": "old_lever.stl",
        "mirrored": False,
        "pose": POSE,
        "overlap": 0.98,
        "reference_overlap": 0.97,
        "sure": True,
        "reason": "",
        "whole": spread("whole surface", 0.012),
        "outside": SideTable(share=0.7, mean_mm=0.05, largest_mm=0.31),
        "inside": SideTable(share=0.3, mean_mm=0.02, largest_mm=0.11),
        "within": (WithinTable(limit_mm=0.1, share=0.93),),
        "regions": (spread("plane 1", 0.005), spread("bore 2", -0.21), spread("boss 1", 0.08)),
    }
    return DeviationTable(**(told | changes))


def test_the_regions_that_are_off_are_named_the_farthest_first_and_the_others_not():
    lines = list(deviation_in_words(deviation()))
    assert lines[0] == "Laid on old_lever.stl: 98 % of the part lies on it, and 97 % of it on the part."
    assert [line.split(":")[0] for line in lines[-2:]] == ["bore 2", "boss 1"]
    assert not any("plane 1" in line for line in lines)
    assert "93 % within 0.1 mm" in lines[1]


def test_of_a_pose_that_is_not_sure_no_figure_is_told():
    lines = list(deviation_in_words(deviation(sure=False, reason="another pose fits as well")))
    assert len(lines) == 2
    assert lines[1].startswith("Not sure of the pose: another pose fits as well. ")


def test_a_symmetric_part_is_told_to_be_one():
    others = (OtherPoseTable(turn_deg=180.0, harmless=True, pose=POSE),) * 3
    assert "It lies as well 3 other ways round" in " ".join(deviation_in_words(deviation(others=others)))


def test_the_deviation_stands_in_the_terminal_and_only_where_there_is_one():
    compared = PASSED.model_copy(update={"deviation": deviation()})
    assert "bore 2: -0.210 mm on average" in terminal.render(compared, width=100, colour=False)
    assert "Deviation" not in terminal.render(PASSED, width=100, colour=False)
