"""Faults in where the edge is put."""

from __future__ import annotations

from .kind import Fault

WALLS = "tests/test_walls.py"
TOUCHING = "tests/test_touching.py"
HEIGHT = "tests/test_height.py"
CORNERS = "tests/test_corners.py"
EDGE = "tests/test_edge.py"
SMOOTHING = "tests/test_smoothing.py"

FAULTS = (
    Fault(
        "walls-left-part",
        "digitize/edge/walls.py",
        "_LEFT_PART = 0.3 ",
        "_LEFT_PART = 0.03 ",
        (f"{WALLS}::test_feet_of_walls_are_found",),
    ),
    Fault(
        "walls-pale-doubt-tenth", "digitize/edge/walls.py", "_PALE_PART = 0.6, 0.9", "_PALE_PART = 0.06, 0.09", (WALLS,)
    ),
    Fault("walls-far-foot-believed", "digitize/edge/walls.py", "_FAR_PX = 1.5", "_FAR_PX = 15.0", (WALLS,)),
    Fault(
        "cleft-turn-limit",
        "digitize/edge/touching.py",
        "_CLEFT_TURN_DEG = 115.0",
        "_CLEFT_TURN_DEG = 80.0",
        (TOUCHING,),
    ),
    Fault("neck-width-doubled", "digitize/edge/touching.py", "_NECK_WIDTH = ", "_NECK_WIDTH = 2 * ", (TOUCHING,)),
    Fault(
        "neck-turn-limit-up", "digitize/edge/touching.py", "_NECK_TURN_DEG = ", "_NECK_TURN_DEG = 1.5 * ", (TOUCHING,)
    ),
    Fault(
        "cleft-facing-wide", "digitize/edge/touching.py", "\n_FACING_DEG = 40.0", "\n_FACING_DEG = 120.0", (TOUCHING,)
    ),
    Fault("touching-least-part", "digitize/edge/touching.py", "_LEAST_PART = ", "_LEAST_PART = 4 * ", (TOUCHING,)),
    Fault(
        "bays-of-unlike-halves",
        "digitize/edge/touching.py",
        "abs(part - 0.5) > 0.08",
        "abs(part - 0.5) > 0.4",
        (TOUCHING,),
    ),
    Fault(
        "height-planes-swapped",
        "digitize/edge/height.py",
        "shapely.union(a, b) if either else shapely.intersection(a, b)",
        "shapely.intersection(a, b) if either else shapely.union(a, b)",
        (HEIGHT,),
    ),
    Fault("wrong-plane-kept", "digitize/edge/height.py", "_WRONG_MM = 0.004", "_WRONG_MM = 0.4", (HEIGHT,)),
    Fault(
        "parallax-corners-rounded",
        "digitize/edge/height.py",
        "_CORNER_TURN = np.radians(18.0)",
        "_CORNER_TURN = np.radians(120.0)",
        (HEIGHT,),
    ),
    Fault(
        "curvature-bias-left",
        "digitize/edge/trace.py",
        "shift = 0.5 * blur**2 * curvature",
        "shift = 0.0 * blur**2 * curvature",
        (EDGE,),
    ),
    Fault(
        "curvature-shift-inward",
        "digitize/edge/trace.py",
        "points = points + _curvature_shift",
        "points = points - _curvature_shift",
        (EDGE,),
    ),
    Fault(
        "shade-slope-never-taken-out",
        "digitize/edge/trace.py",
        "if within.slope.any() or beyond.slope.any():",
        "if False:",
        (EDGE,),
    ),
    Fault("edge-unclear-limit", "digitize/edge/trace.py", "if lost > 0.05:", "if lost > 0.5:", (EDGE,)),
    Fault(
        "corner-of-25-degrees-missed",
        "digitize/edge/corners.py",
        "MIN_TURN_DEG = 25.0",
        "MIN_TURN_DEG = 50.0",
        (CORNERS,),
    ),
    Fault(
        "round-corner-made-sharp",
        "digitize/edge/corners.py",
        "0.15 * expected + 0.22 + 1.5 * noise",
        "3 * expected + 2.2 + 1.5 * noise",
        (CORNERS,),
    ),
    Fault(
        "smoothing-eats-features",
        "digitize/edge/smoothing.py",
        "moved <= 2.5 * noise",
        "moved <= 25 * noise",
        (SMOOTHING,),
    ),
    Fault(
        "smoothing-deviation-understated",
        "digitize/edge/smoothing.py",
        "sd = np.where(accepted, gain * noise, sd)",
        "sd = np.where(accepted, gain**2 * noise, sd)",
        (SMOOTHING,),
    ),
    Fault(
        "chords-cut-curves",
        "digitize/edge/smoothing.py",
        "+ t * (1 - t) ** 2 * h * slope[at]",
        "+ 0 * t * (1 - t) ** 2 * h * slope[at]",
        (SMOOTHING,),
    ),
)
