from verifier.inspection import ChangeTable, DeviationTable, OtherPoseTable, SideTable, SpreadTable, WithinTable
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


def change(what: str, before: float | None, after: float | None, change: float, **more) -> ChangeTable:
    told = {"name": "bore 2", "what": what, "before": before, "after": after, "change": change}
    return ChangeTable(**(told | {"standard_uncertainty": 0.01, "significant": True} | more))


def test_the_features_that_differ_are_told_with_both_figures():
    rows = (
        change("diameter", 6.0, 6.3, 0.3),
        change("worn", 0.0, -0.21, 0.21, name="plane 3"),
        change("gone", 8.5, None, -8.5, name="bore 4"),
        change("tilt", 0.0, 0.4, 0.4, name="plane 1"),
    )
    lines = list(deviation_in_words(deviation(changes=rows)))
    assert not any(line.startswith("bore 2: -0.210 mm on average") for line in lines)
    assert lines[-4:] == [
        "bore 2: diameter 6.30 mm, 6.00 mm on the reference: +0.30 ± 0.02 mm.",
        "plane 3 lies 0.21 ± 0.02 mm lower than on the reference.",
        "bore 4 of the reference, 8.50 mm across, is not on this part.",
        "plane 1 is turned by 0.40 ± 0.02° against the reference.",
    ]


def test_what_chance_explains_or_nobody_would_feel_is_left_to_the_file():
    rows = (change("diameter", 6.0, 6.3, 0.3, significant=False), change("diameter", 6.0, 6.02, 0.02))
    assert list(deviation_in_words(deviation(changes=rows))) == list(deviation_in_words(deviation()))
