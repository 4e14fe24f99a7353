"""Faults in a scanner's profile and in what a scan is told by it."""

from __future__ import annotations

from .kind import Fault

MAP = ("tests/test_scanner.py::test_the_map_takes_away_what_no_affine_map_does",)
AXES = ("tests/test_scanner.py::test_axes_are_told_though_the_card_is_not_square",)
TONE = ("tests/test_scanner.py::test_edges_tell_how_codes_follow_the_light",)
OLD = ("tests/test_scanner.py::test_an_old_one_is_said",)
LIGHT = ("tests/test_scanner.py::test_a_scan_gets_its_scanners_tone",)
OTHER = ("tests/test_scanner.py::test_another_way_of_scanning_is_refused",)
CHANGED = ("tests/test_scanner.py::test_a_scanner_that_changed_is_said_and_the_reference_followed",)
ONE_SIZE = ("tests/test_scanner.py::test_a_reference_gives_one_size_on_the_map",)
MIRRORED = ("tests/test_mirrored.py",)

FAULTS = (
    Fault(
        "scanner-bend-of-x-for-y",
        "digitize/scanner/adjust.py",
        "slope[:, axis, 3 + axis : self._poses : 2] = terms",
        "slope[:, axis, 4 - axis : self._poses : 2] = terms",
        MAP,
    ),
    Fault(
        "scanner-print-stays-with-the-glass",
        "digitize/scanner/adjust.py",
        "drawn * (1.0 + larger) + values[off:].reshape(-1, 2)[which]",
        "drawn * 1.0 + values[off:].reshape(-1, 2)[which]",
        AXES,
    ),
    Fault(
        "scanner-axes-sure-by-half",
        "digitize/scanner/adjust.py",
        "mean[:2], differ[:2] = 0.5, (1.0, -1.0)",
        "mean[:2], differ[:2] = 0.25, (1.0, -1.0)",
        AXES,
    ),
    Fault(
        "scanner-skew-downwards",
        "digitize/scanner/glass.py",
        "np.column_stack([x + self.skew * y, y]) + self.bend",
        "np.column_stack([x - self.skew * y, y]) + self.bend",
        MAP,
    ),
    Fault(
        "scanner-tone-of-the-second-valley",
        "digitize/scanner/tone.py",
        "k = min(valleys, key=lambda",
        "k = max(valleys, key=lambda",
        TONE,
    ),
    Fault(
        "scanner-tone-the-other-way",
        "digitize/scanner/profile.py",
        "np.power(picture.to_linear, np.float32(self.tone))",
        "np.power(picture.to_linear, np.float32(1 / self.tone))",
        LIGHT,
    ),
    Fault(
        "scanner-of-any-size",
        "digitize/scanner/profile.py",
        "        if size != own:",
        "        if size[0] < 0:",
        OTHER,
    ),
    Fault(
        "scanner-of-any-dpi",
        "digitize/scanner/profile.py",
        "if dpi and self.dpi and any(abs(a / b - 1) > _SAME_DENSITY",
        "if dpi and self.dpi and any(abs(a / b - 1) > 1",
        OTHER,
    ),
    Fault("scanner-never-old", "digitize/scanner/profile.py", "OLD_DAYS = 365", "OLD_DAYS = 3650", OLD),
    Fault(
        "scanner-change-not-said",
        "digitize/reference/on_glass.py",
        "_PROVEN = 3.0",
        "_PROVEN = 300.0",
        CHANGED,
    ),
    Fault(
        "scanner-readings-not-averaged",
        "digitize/reference/on_glass.py",
        "self._side / math.sqrt(2.0) if averaged",
        "self._side / math.sqrt(4.0) if averaged",
        ONE_SIZE,
    ),
    Fault(
        "scanner-map-not-in-budget",
        "digitize/reference/on_glass.py",
        'Contribution("scanner map", bend,',
        'Contribution("scanner map", 0.0,',
        ONE_SIZE,
    ),
    Fault(
        "axes-of-the-picture-for-the-files",
        "digitize/write/preview/marks.py",
        "places = np.array([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])",
        "places = np.array([(0.0, 0.0), (-1.0, 0.0), (0.0, 1.0)])",
        MIRRORED,
    ),
)
