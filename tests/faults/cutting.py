"""Faults in the path to cut."""

from __future__ import annotations

from .kind import Fault

POCKET = "tests/test_pocket.py"
CUTTING = "tests/test_cutting.py"
VALUES = "tests/test_cutting_values.py"
PRINT = "tests/test_print_area.py"

FAULTS = (
    Fault(
        "kerf-taken-twice",
        "digitize/cutting/make.py",
        'Allowance("kerf", -cutting.kerf_mm / 2)',
        'Allowance("kerf", -cutting.kerf_mm)',
        (CUTTING,),
    ),
    Fault(
        "notch-as-wide-as-its-path",
        "digitize/cutting/make.py",
        "less_mm=cutting.kerf_mm / 2)",
        "less_mm=0.0)",
        (CUTTING,),
    ),
    Fault("lost-pegs-of-a-knife-not-said", "digitize/cutting/make.py", "    if lost <= 0:", "    if True:", (CUTTING,)),
    Fault(
        "cutter-centre-at-the-wall",
        "digitize/cutting/routed.py",
        'Allowance("cutter", -radius)',
        'Allowance("cutter", -cutting.cutter_mm)',
        (CUTTING,),
    ),
    Fault("relief-cuts-into-a-peg", "digitize/cutting/routed.py", "    if pegs.is_empty:", "    if True:", (CUTTING,)),
    Fault("slots-not-said", "digitize/cutting/routed.py", "if not slots and len(parts) < 2:", "if True:", (CUTTING,)),
    Fault(
        "relief-as-deep-as-half",
        "digitize/cutting/relief.py",
        "tip = left.centre + left.depth_mm * toward",
        "tip = left.centre + left.depth_mm / 2 * toward",
        (CUTTING,),
    ),
    Fault(
        "relief-along-the-shorter-side",
        "digitize/cutting/relief.py",
        "longer = int(np.argmax(",
        "longer = int(np.argmin(",
        (CUTTING,),
    ),
    Fault(
        "sharp-slot-taken-for-a-corner",
        "digitize/cutting/relief.py",
        "LEAST_CORNER = np.radians(30)",
        "LEAST_CORNER = np.radians(3)",
        (CUTTING,),
    ),
    Fault(
        "draft-by-sine",
        "digitize/cutting/former.py",
        "math.tan(math.radians",
        "math.sin(math.radians",
        (CUTTING, "tests/test_solid.py"),
    ),
    Fault(
        "shrink-by-multiplying",
        "digitize/cutting/former.py",
        "scale = 1 / (1 - cutting.shrink_percent / 100)",
        "scale = 1 + cutting.shrink_percent / 100",
        (CUTTING, "tests/test_solid.py"),
    ),
    Fault(
        "shrink-of-the-height-left-out",
        "digitize/cutting/former.py",
        "cutting.plug_height_mm * scale)",
        "cutting.plug_height_mm)",
        (CUTTING, "tests/test_solid.py"),
    ),
    Fault(
        "pin-clearance-halved",
        "digitize/cutting/pins.py",
        "radius = hole.radius_mm - clearance_mm",
        "radius = hole.radius_mm - clearance_mm / 2",
        (CUTTING,),
    ),
    Fault("thin-pin-made", "digitize/cutting/pins.py", "if 2 * radius < LEAST_PIN_MM:", "if radius < 0:", (CUTTING,)),
    Fault(
        "knife-bend-tighter",
        "digitize/cutting/knife.py",
        "closed = grown(grown(sharp, least_radius_mm, chord_mm=chord_mm), -least_radius_mm, chord_mm=chord_mm)",
        "closed = grown(grown(sharp, least_radius_mm / 2, chord_mm=chord_mm), -least_radius_mm / 2, chord_mm=chord_mm)",
        (CUTTING,),
    ),
    Fault(
        "lead-in-the-item",
        "digitize/cutting/lead.py",
        "left = np.array([-toward[1], toward[0]])",
        "left = np.array([toward[1], -toward[0]])",
        (CUTTING,),
    ),
    Fault(
        "lead-through-a-corner",
        "digitize/cutting/places.py",
        "CORNER = np.radians(20)",
        "CORNER = np.radians(170)",
        (CUTTING,),
    ),
    Fault("lead-on-a-long-edge", "digitize/cutting/places.py", "_LONG_PART = 0.5", "_LONG_PART = 1.5", (CUTTING,)),
    Fault(
        "web-measured-to-the-path",
        "digitize/cutting/check.py",
        "reach = max(pocket.kerf_mm, pocket.cutter_mm) / 2",
        "reach = 0.0",
        (CUTTING,),
    ),
    Fault(
        "crossing-pockets-not-said",
        "digitize/cutting/check.py",
        "if away[other] == 0]",
        "if away[other] < 0]",
        (CUTTING,),
    ),
    Fault(
        "uncut-corner-that-holds-the-item-not-said",
        "digitize/cutting/check.py",
        "any(float(body.intersection(one).area) > 1e-4",
        "any(float(body.intersection(one).area) > 1e4",
        (CUTTING,),
    ),
    Fault(
        "notch-beside-a-hole-not-said",
        "digitize/cutting/notch.py",
        "if room >= width / 2:",
        "if room >= 0:",
        (CUTTING,),
    ),
    Fault(
        "offset-corners-cut",
        "digitize/cutting/pocket.py",
        "return int(np.clip(np.ceil(np.pi / (4 * np.arccos(1 - chord_mm / (2 * radius_mm)))), 4, 512))",
        "return 4",
        (POCKET,),
    ),
    Fault(
        "slivers-kept",
        "digitize/cutting/pocket.py",
        "return rings if least_mm <= 0 else _without_slivers(rings, least_mm)",
        "return rings",
        (POCKET, CUTTING, PRINT),
    ),
    Fault(
        "noise-offset-outward",
        "digitize/cutting/pocket.py",
        "return smoothed_ring(ring, sd_mm=noise_sd(ring), residue_mm=_RESIDUE_MM)[0]",
        "return ring",
        (POCKET, CUTTING),
    ),
    Fault(
        "left-piece-depth-of-the-core",
        "digitize/cutting/region.py",
        "if depth <= tolerance_mm:",
        "if depth <= 20 * tolerance_mm:",
        (CUTTING,),
    ),
    Fault(
        "own-values-lose-to-typical",
        "digitize/cutting/ways.py",
        "values[name] = fallback if mine is None else mine",
        "values[name] = fallback",
        (VALUES,),
    ),
    Fault(
        "typical-not-said",
        "digitize/cutting/ways.py",
        "if name not in said and mine is None and _matters(name, known, said):",
        "if False:",
        (VALUES,),
    ),
)
