"""The page as it is printed."""

import re

import pytest

from verifier.inspection import Inspection
from verifier.reporting.page import Pictured
from verifier.reporting.paper import paper_of
from verifier.reporting.still import stills

from .examples import PASSED, UNDECIDED, size
from .pages import SHOWN, Opened


def on_paper(count: int) -> tuple[Inspection, Pictured]:
    """A report as full as a part with many bores has it."""
    bore = PASSED.bores[0].model_copy(update={"rebuilt": True, "made_for": "M6, medium fit", "drill_mm": 6.6})
    told = UNDECIDED.model_copy(
        update={
            "sizes": tuple(size(f"size {k} of the long arm", verdict="PASS") for k in range(count)),
            "bores": (bore,) * 8,
            "cautions": ("Talc dust is harmful: take another powder, or wear a mask and follow your local rules.",)
            * 14,
        }
    )
    return told, Pictured(SHOWN, stills=stills(told, SHOWN))


@pytest.mark.parametrize("count", [2, 12, 60])
def test_what_is_printed_is_one_sheet_of_a4_with_both_stills(opened: Opened, count: int):
    told, pictured = on_paper(count)
    tab = opened.show(told, pictured)
    assert not tab.locator(".paper").is_visible()
    paper = tab.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    width_pt, height_pt = map(float, re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", paper).groups())
    assert (width_pt, height_pt) == pytest.approx((595.3, 841.9), abs=1)  # A4, ISO 216: 210 x 297 mm
    tab.emulate_media(media="print")
    assert tab.locator(".controls, main").filter(visible=True).count() == 0
    assert [image.evaluate("image => image.naturalWidth") > 0 for image in tab.locator(".paper img").all()] == [
        True
    ] * 2
    assert tab.locator(".paper").evaluate("paper => paper.scrollWidth <= paper.clientWidth")


def test_sizes_that_find_no_room_on_paper_have_passed_and_are_counted():
    told, _ = on_paper(60)
    failed = told.sizes[-1].model_copy(update={"name": "the last", "verdict": "FAIL"})
    told = told.model_copy(update={"sizes": (*told.sizes[:-1], failed)})
    paper = paper_of(told, ())
    assert paper.sizes[-1].name == "the last"
    assert len(paper.sizes) + paper.left_out == 60
