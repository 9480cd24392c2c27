"""How far the part is off, in the page's colours and in its chart."""

import numpy as np
import pytest

from verifier.reporting.deviation_chart import NOT_COMPARED, chart_of, ramp, steps_of

from .pages import COLOURED, DEVIATED, DRAWN, SPREAD, Opened

HUES = """() => {
  const counts = {inside: 0, proud: 0};
  const {data} = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  for (let at = 0; at < data.length; at += 4) {
    const [r, g, b, a] = data.slice(at, at + 4);
    if (a > 0 && b > 2 * r) counts.inside += 1;
    if (a > 0 && r > 2 * b) counts.proud += 1;
  }
  return counts;
}"""


def test_the_colours_show_what_stands_proud_and_what_lies_inside(opened: Opened):
    tab = opened.show(DEVIATED, COLOURED)
    assert tab.evaluate(HUES)["proud"] < 0.1 * tab.evaluate("canvas.width * canvas.height")
    tab.get_by_role("radio", name="how far it is off").check()
    tab.evaluate(DRAWN)
    hues = tab.evaluate(HUES)
    # Half the part each, as the eye sees it; the bore, deep in shadow, lies on the inner half.
    assert hues["proud"] > 20_000
    assert hues["inside"] == pytest.approx(hues["proud"], rel=0.35)
    tab.get_by_label("as it will be printed").check()
    tab.evaluate(DRAWN)
    assert tab.get_by_label("where the surface comes from").is_checked()
    assert tab.evaluate(HUES)["inside"] < hues["inside"]


def test_the_chart_has_a_column_a_step_as_high_as_its_share():
    chart = chart_of(DEVIATED.deviation)
    assert chart is not None
    heights = [column.height for column in chart.columns]
    assert heights[10] == 120.0
    assert (heights[5], heights[11]) == (40.0, 40.0)
    assert sum(height > 0 for height in heights) == 3
    assert chart.columns[10].words == "-0.024 to +0.024 mm: 60.0 %"


def test_the_scale_of_colours_is_told_apart_without_its_hues():
    """Light falls from the middle to both ends, so grey paper shows how far; blue against brown shows which way."""
    light = [0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in ramp(21)]
    assert light[:11] == sorted(light[:11])
    assert light[10:] == sorted(light[10:], reverse=True)
    assert ramp(21)[0][2] > 2 * ramp(21)[0][0]
    assert ramp(21)[20][0] > 2 * ramp(21)[20][2]


def test_a_corner_that_was_not_compared_has_no_step():
    steps = steps_of(np.array([-9.0, -0.5, 0.0, 0.5, np.nan]), SPREAD)
    assert steps.tolist() == [0, 0, 10, 20, NOT_COMPARED]
