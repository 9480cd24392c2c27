"""The scanner over the months."""

import numpy as np

from verifier.remembering.scanner import ScalePoint, scanner_past


def scans(percents, u_percent=0.02):
    return [
        (ScalePoint(k + 1, "latch_lever", f"2024-05-{k + 1:02}", p, u_percent), str(k)) for k, p in enumerate(percents)
    ]


def test_a_scanner_that_has_moved_is_told_with_how_much():
    rng = np.random.default_rng(51)
    usual, moved = rng.normal(0.30, 0.02, 20), rng.normal(0.42, 0.02, 6)
    assert scanner_past(scans(usual)).warning == ""
    past = scanner_past(scans([*usual, *moved]))
    assert past.warning.startswith("The scanner's scale has moved: +0.3")
    assert "Calibrate it" in past.warning


def test_an_old_pattern_is_no_warning_any_more():
    values = 0.30 + 0.02 * np.array([1, -1, 0.5, -0.5] * 10)
    values[22] = 0.50
    past = scanner_past(scans(values))
    assert [signal.at for signal in past.chart.signals] == [22]
    assert past.warning == ""


def test_one_scan_far_out_asks_for_a_second_before_anything_is_calibrated():
    values = 0.30 + 0.02 * np.array([1, -1, 0.5, -0.5] * 6)
    values[21] = 0.50
    assert scanner_past(scans(values)).warning.startswith(
        "One scan lies outside the usual limits: +0.50 % (latch_lever,"
    )


def test_a_scanner_that_has_not_moved_is_seldom_said_to_have():
    """Twenty scans make the limits and so are uncertain themselves: moved is said of 4 % of still scanners at most."""
    rng = np.random.default_rng(53)
    told = [scanner_past(scans(rng.normal(0.3, 0.02, 30))).warning for _ in range(300)]
    assert sum("has moved" in warning for warning in told) <= 21  # 4 % of 300 are 12; 22 come by chance once in 200


def test_scans_that_could_not_tell_the_scale_are_counted_and_left_out():
    told = scans([0.3, 0.31], u_percent=0.02)
    unsure = [(ScalePoint(9, "fence_clip", "2024-05-09", 0.0, 0.5), "other")]
    past = scanner_past([*told, *unsure])
    assert (len(past.points), past.left_out, past.chart) == (2, 1, None)


def test_a_scan_that_was_tried_twice_counts_once_with_its_newest_figure():
    twice = [(ScalePoint(1, "a", "d", 0.3, 0.02), "same"), (ScalePoint(5, "a", "d", 0.33, 0.02), "same")]
    assert [(point.job, point.percent) for point in scanner_past(twice).points] == [(5, 0.33)]
