"""A dense ring as lines and arcs: the fit, and the ways to measure and flatten what comes out."""

from digitize.fitting.bulge import (
    arc_to_bulge,
    bulge_to_arc,
    bulge_to_sweep,
    curve_area,
    curve_length,
    curve_ring,
    make_path,
    moved_curve,
    path_kinks,
    path_radii,
    path_tangents,
    reversed_curve,
    ring_area,
    sweep_to_bulge,
)
from digitize.fitting.distance import two_sided_distance
from digitize.fitting.fit import fit_curve, full_circle
from digitize.fitting.shapes import Shape, offset_shape, recognise
from digitize.fitting.symmetrise import largest_move, symmetric_curve, symmetrised_rings
from digitize.fitting.symmetry import symmetries
from digitize.records import Symmetry

__all__ = [
    "Shape",
    "Symmetry",
    "arc_to_bulge",
    "bulge_to_arc",
    "bulge_to_sweep",
    "curve_area",
    "curve_length",
    "curve_ring",
    "fit_curve",
    "full_circle",
    "largest_move",
    "make_path",
    "moved_curve",
    "offset_shape",
    "path_kinks",
    "path_radii",
    "path_tangents",
    "recognise",
    "reversed_curve",
    "ring_area",
    "sweep_to_bulge",
    "symmetric_curve",
    "symmetries",
    "symmetrised_rings",
    "two_sided_distance",
]
