"""Faults in lines and arcs, ideal shapes and symmetry."""

from __future__ import annotations

from .kind import Fault

PROOF = "tests/test_proof.py"
SHAPES = "tests/test_shapes.py"
CURVE = "tests/test_curve.py"
PARTS = "tests/test_fit_parts.py"
REGULAR = "tests/test_regular.py"
DESCRIBE = "tests/test_describe.py"
VAST = "tests/test_vast.py"
LINED = "tests/test_lined.py"

FAULTS = (
    Fault(
        "joints-out-of-order-taken",
        "digitize/fitting/free.py",
        "shares_of(draft, len(scene.ring))[1].min() >= 0",
        "shares_of(draft, len(scene.ring))[1].min() >= -9999",
        ("tests/test_tangent.py::test_joints_that_pass_each_other_are_left_as_they_were",),
    ),
    Fault(
        "no-lines-where-pieces-are-stuck",
        "digitize/fitting/fit.py",
        "lines=slack == 1.0)",
        "lines=False)",
        (LINED,),
    ),
    Fault(
        "all-of-a-toothed-edge-as-lines",
        "digitize/fitting/lined.py",
        "    return np.asarray((left > 0) | (np.bincount(piece, strays, len(parts)) > 0))",
        "    return np.ones(len(parts), dtype=bool)",
        (LINED,),
    ),
    Fault(
        "more-pieces-than-lines-alone",
        "digitize/fitting/fit.py",
        "if best is None or len(lines.bulges) < len(best.bulges):",
        "if best is None:",
        (LINED,),
    ),
    Fault(
        "lines-cross-and-nobody-looks",
        "digitize/fitting/lined.py",
        'query(ways, predicate="crosses")[0]] = True',
        'query(ways, predicate="crosses")[0]] = False',
        (LINED,),
    ),
    Fault(
        "known-shape-with-too-many-pieces",
        "digitize/fitting/fit.py",
        "return None if tried.fits.any() else breaks",
        "return breaks",
        ("tests/test_curve.py::test_a_ring_whose_shape_is_known_is_fitted_from_there",),
    ),
    Fault(
        "slope-by-angle-turned",
        "digitize/fitting/ideal.py",
        "u * y - v * x], axis=1)",
        "v * x - u * y], axis=1)",
        ("tests/test_shapes.py::test_slopes_are_what_small_changes_of_the_parameters_make",),
    ),
    Fault(
        "vast-radius-tenfold",
        "digitize/fitting/vast.py",
        "MOST_RADIUS_MM = 2000.0",
        "MOST_RADIUS_MM = 20000.0",
        (VAST,),
    ),
    Fault(
        "vast-arc-across-an-axis",
        "digitize/fitting/symmetrise.py",
        "    return 0.0 if abs(bulge * chord) / 2 <= flat_mm else None",
        "    return 0.0",
        (VAST,),
    ),
    Fault(
        "vast-arcs-not-fitted-anew",
        "digitize/fitting/vast.py",
        "lined = _lined(draft, vast, ring, limit_mm) if vast.any() else None",
        "lined = None",
        (VAST,),
    ),
    Fault(
        "proof-without-the-neighbouring-foot",
        "digitize/fitting/proof.py",
        "far = np.maximum(feet.distance, np.concatenate((feet.distance[1:], feet.distance[:1])))",
        "far = feet.distance",
        (PROOF,),
    ),
    Fault(
        "proof-without-sagitta",
        "digitize/fitting/proof.py",
        "bound = far + np.repeat(radii, counts) * turn**2 / 8",
        "bound = far + 0 * turn",
        (PROOF,),
    ),
    Fault(
        "proof-without-spikes",
        "digitize/fitting/proof.py",
        "bound[last] = np.maximum(far[last], spike) + sagitta",
        "bound[last] = far[last] + sagitta",
        (PROOF,),
    ),
    Fault(
        "proof-by-pieces-without-direction",
        "digitize/fitting/proof.py",
        "ahead = np.where(point[:, None], (1.0, 0.0), chords / np.maximum(lengths, _POINT_MM)[:, None])",
        "ahead = chords / np.maximum(lengths, _POINT_MM)[:, None]",
        (PROOF,),
    ),
    Fault("proof-one-way-only", "digitize/fitting/proof.py", "and back.max() <= limit_mm.max()", "and True", (PROOF,)),
    Fault(
        "symmetry-deviation-none",
        "digitize/fitting/symmetry.py",
        "    return float(away.max())",
        "    return 0.0 * float(away.max())",
        (SHAPES,),
    ),
    Fault(
        "symmetry-holes-not-asked",
        "digitize/fitting/symmetry.py",
        ".min(axis=1).max() > limit:",
        ".min(axis=1).max() > 1e9:",
        (SHAPES,),
    ),
    Fault(
        "symmetry-limit-tenfold",
        "digitize/fitting/symmetry.py",
        "Turned(ring.points_mm, centre), 2 * tolerance_mm",
        "Turned(ring.points_mm, centre), 20 * tolerance_mm",
        (SHAPES,),
    ),
    Fault(
        "symmetric-path-move-not-told",
        "digitize/fitting/symmetrise.py",
        "_SMOOTH = np.radians(1.0)",
        "_SMOOTH = np.radians(60.0)",
        (SHAPES, REGULAR),
    ),
    Fault(
        "ragged-limits-tenfold",
        "digitize/fitting/ragged.py",
        "RAGGED = ((80, 0.3), (200, 0.16), (300, 0.08))",
        "RAGGED = ((800, 3.0), (2000, 1.6), (3000, 0.8))",
        (PARTS,),
    ),
    Fault(
        "ragged-noise-taken-for-teeth",
        "digitize/fitting/ragged.py",
        "0.25 * float(line.length)",
        "0.0 * float(line.length)",
        (PARTS,),
    ),
    Fault(
        "circle-of-any-ring",
        "digitize/fitting/fit.py",
        "if found.worst_mm > max(tolerance_mm, _PEAK * ring.sd_mm) or found.worst_mean_mm > tolerance_mm:",
        "if found.worst_mm > 9 * tolerance_mm:",
        (CURVE,),
    ),
    Fault(
        "fit-not-checked",
        "digitize/fitting/fit.py",
        "return bool(np.all(away <= task.limit_mm) and back.max() <= task.limit_mm.max())",
        "return True",
        (CURVE, PARTS),
    ),
    Fault(
        "circle-radius-of-mean-of-points",
        "digitize/fitting/circle.py",
        "weight = sides + rolled(sides, 1)",
        "weight = np.ones(len(ring))",
        (CURVE, PARTS),
    ),
    Fault(
        "shape-deviations-of-independent-noise",
        "digitize/fitting/shapes.py",
        "return 1.0 + 2.0 * float(np.sum(correlation[:first]))",
        "return 1.0",
        (SHAPES,),
    ),
    Fault(
        "lens-named-rounded-rectangle",
        "digitize/fitting/shapes.py",
        "bool(0 < radius <= min(length, width) / 2)",
        "bool(0 < radius)",
        (SHAPES,),
    ),
    Fault(
        "shape-offset-one-side",
        "digitize/fitting/shapes.py",
        "grow, round_by = 2 * distance_mm,",
        "grow, round_by = distance_mm,",
        ("tests/test_pocket.py", "tests/test_cutting.py"),
    ),
    Fault(
        "shape-guessed-too-readily",
        "digitize/fitting/shapes.py",
        "fit.worst_mean_mm <= uncertainty_mm and fit.worst_mm <= limit and",
        "fit.worst_mm <= 5 * limit and",
        (SHAPES,),
    ),
    Fault(
        "width-named-length",
        "digitize/fitting/shapes.py",
        'if "length" in model.names and values[0] < values[1]:',
        'if "length" in model.names and values[0] > values[1]:',
        (SHAPES,),
    ),
    Fault(
        "arc-radius-of-the-sagitta",
        "digitize/fitting/bulge.py",
        "chord * (1 + size**2) / (4 * size)",
        "chord * (1 + size) / (4 * size)",
        (CURVE, PARTS),
    ),
    Fault(
        "segment-area-sign",
        "digitize/fitting/bulge.py",
        "return signed_area(curve.points_mm) + float(segment.sum())",
        "return signed_area(curve.points_mm) - float(segment.sum())",
        (CURVE, PARTS),
    ),
    Fault(
        "kinks-left",
        "digitize/fitting/fit.py",
        'if joins == "smooth" else [best]',
        'if joins == "fewest" else [best]',
        ("tests/test_tangent.py",),
    ),
    Fault(
        "averaged-noise-taken-for-proof",
        "digitize/fitting/repair.py",
        "unsure = 12 * np.maximum(rms, flat.noise_mm) / np.sqrt(np.maximum(count, 1))",
        "unsure = 12 * rms / np.sqrt(np.maximum(count, 1))",
        ("tests/test_tangent.py",),
    ),
    Fault(
        "kinks-between-corners-left",
        "digitize/fitting/fit.py",
        "return [smooth, without_kinks(draft, smooth, scene)]",
        "return [smooth]",
        ("tests/test_tangent.py",),
    ),
    Fault(
        "arcs-of-a-way-end-as-they-began",
        "digitize/fitting/spline.py",
        "leaving = heading[end] + turn[which, end]",
        "leaving = heading[end] - turn[which, end]",
        ("tests/test_tangent.py",),
    ),
    Fault(
        "small-arcs-kept",
        "digitize/fitting/tidy.py",
        "size > 0) & (chord * (1 + size**2) < 4 * size",
        "size > 9) & (chord * (1 + size**2) < 4 * size",
        ("tests/test_tangent.py",),
    ),
)
