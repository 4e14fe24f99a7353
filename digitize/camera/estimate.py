"""From the rings (or the one square) seen in a photo to the camera: two passes along the sides, outliers named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..errors import ScaleError
from ..records import FloatArray, Picture
from ..steady import norm
from .focal import LensKnowledge
from .honest import solve_honestly
from .pose import focal_from_map, plane_map, pose_from_map
from .scale import CameraScale
from .sides import SIDE_PART, Edge, SidePlaces, measure_sides
from .solve import Evidence, Model, Prior, Sides, Solution, solve

LEAST_SUPPORT = 0.5  # part of each side that must show an edge
_KNOTS = 9  # along a predicted side
_OUTLIER = 4.0  # a ring whose residuals are so many times the median ring's is left out
_OUTLIER_PX = 0.12  # and larger than this
_ASPECT_SD = 0.2  # log ratio of a square's sides while it is only checked for being one
_QUARTERS = 4  # of a side, in which its bend shows
_FIRST_ROUNDS = 6  # good to a hundredth of a pixel; it is only where the sides are looked for again
TO_EDGE_WIDTH = 2.563  # from the standard deviation of a normal blur to the width from 10 to 90 %
SPREAD_SD_MM = 0.15  # of a print's ink, each edge; common practice, no source
_FREE_ROUNDS = 40  # at the most, with the aspect free; chosen, no source
_NEAREST_PX = 6  # either side of a rough place, where what lies beside it is mistaken for the paper; chosen, no source


@dataclass(frozen=True, slots=True)
class Square:
    """Four sides of the reference that lie together: a ring's outer or inner edge, or a plain square."""

    ring: int  # which ring it belongs to
    corners_mm: FloatArray  # (4, 2) top-left, top-right, bottom-right, bottom-left, as drawn
    corners_px: FloatArray  # (4, 2) the same, roughly
    ink: float  # +1: ink inside (outer edge), -1: ink outside (inner edge), 0: no ink that may spread
    room_px: float


@dataclass(frozen=True, slots=True)
class Print:
    """What is known of the print: true over drawn size in X and Y for a spread of the ink, and its deviations."""

    factors: Callable[[float], tuple[float, float]]
    aspect_sd: float
    spread_sd_mm: float


@dataclass(frozen=True, slots=True)
class RingReport:
    """How a ring fitted."""

    ring: int
    rms_px: float
    used: bool
    reason: str = ""
    support: float = 1.0  # part of its worst side that shows an edge


@dataclass(frozen=True, slots=True)
class CameraEstimate:
    """The camera over the card, in the card's frame, with its covariance and what was seen."""

    solution: Solution
    evidence: Evidence
    middle_mm: FloatArray  # (2,) card place that the pose counts from
    rings: tuple[RingReport, ...]
    blur_px: float
    most_blur_px: float  # that can be told within the rings' bands
    start_lens: LensKnowledge
    rest: FloatArray  # (S,) what a clean step leaves of each side's light, of its contrast

    @property
    def bend_px(self) -> float:
        """How far the quarter of a side that fits worst lies off its line; a median, so that dirt does not count."""
        rest, side = self.solution.residual_px[0], self.evidence.side
        return float(np.abs(_medians(rest, _quarters(side))).max())

    @property
    def scale(self) -> CameraScale:
        """Mapping on the card's plane, origin in the middle of the reference, axes along the card."""
        return CameraScale(self.solution.model.lens, self.solution.model.poses[0])


def estimate_camera(
    picture: Picture, squares: tuple[Square, ...], known: LensKnowledge, print_: Print, *, reach: int
) -> CameraEstimate:
    """Solve for the pose (and the lens, as far as it is not known) from the sides of the reference.

    Parameters
    ----------
    picture
        The photo.
    squares
        The reference's squares with rough places, good to `reach` px.
    known
        The lens beforehand.
    print_
        What is known of the card's print.
    reach
        How far a side may be from its rough place.

    Raises
    ------
    ScaleError
        If too little of the reference can be measured.
    """
    middle = np.concatenate([s.corners_mm for s in squares]).mean(axis=0)
    model = _first_model(squares, known, middle)
    prior = _prior(known, print_)
    first = measure_sides(picture, _straight_edges(squares), reach=reach)
    reports = {r.ring: r for r in _unsupported(squares, first)}
    if len(reports) == len(squares) and not first.is_blurred and reach > _NEAREST_PX:
        # a shadow or a rim beside a side is told from the paper by a nearer look
        first = measure_sides(picture, _straight_edges(squares), reach=max(_NEAREST_PX, reach // 2))
        reports = {r.ring: r for r in _unsupported(squares, first)}
    if all(s.ring in reports for s in squares):
        raise ScaleError(blurred_words(first.most_blur_px) if first.is_blurred else _covered_words(reports))
    evidence = _evidence(squares, first, print_, model.spread_mm, middle)
    evidence = _without(evidence, set(reports))
    squares = tuple(s for s in squares if s.ring not in reports)
    solution = solve((evidence,), model, prior, rounds=_FIRST_ROUNDS)
    near = int(np.ceil(3 * first.blur_px + 1)) + 6
    places = first
    for _ in range(2):
        edges = _curved_edges(squares, solution.model, print_, middle)
        places = measure_sides(picture, edges, reach=near, blur_px=places.blur_px)
        evidence = _evidence(squares, places, print_, solution.model.spread_mm, middle)
        solution = solve_honestly((evidence,), solution.model, prior)
        bad = _outlying(evidence, solution)
        if not bad:
            break
        reports.update({r.ring: r for r in bad})
        squares = tuple(s for s in squares if s.ring not in reports)
    else:  # what the last look has told to be off does not count either
        evidence = _without(evidence, {r.ring for r in bad})
        solution = solve_honestly((evidence,), solution.model, prior)
    seen = _least_support(squares, places)
    own = [RingReport(k, rms, used=True, support=seen[k]) for k, rms in _ring_rms(evidence, solution).items()]
    every = tuple(sorted((*own, *reports.values()), key=lambda r: r.ring))
    return CameraEstimate(solution, evidence, middle, every, places.blur_px, places.most_blur_px, known, places.rest)


def blurred_words(limit_px: float) -> str:
    """Say that the picture is too blurred; `limit_px` is the most blur (standard deviation) that will do."""
    return (
        f"The photo is too blurred: the card's edges are over {TO_EDGE_WIDTH * limit_px:.0f} px wide, more than can be "
        "measured. Tap on the card to focus, and hold the phone still or rest it."
    )


def _covered_words(reports: dict[int, RingReport]) -> str:
    part = max(report.support for report in reports.values())
    return (
        f"The reference is covered, cut off or in shade: along one of its sides an edge is seen over {100 * part:.0f} "
        f"% only (at least {100 * LEAST_SUPPORT:.0f} % are needed). Lay the whole card in view, flat and clean."
    )


def free_aspect(camera: CameraEstimate) -> tuple[float, float]:
    """Log ratio of X over Y sides when nothing is assumed of it, and its standard deviation."""
    known = camera.start_lens
    prior = _prior(known, Print(lambda _: (1.0, 1.0), _ASPECT_SD, 0.0))
    found = solve_honestly((camera.evidence,), camera.solution.model, prior, rounds=_FREE_ROUNDS)
    return found.model.aspect, float(np.sqrt(found.covariance[5, 5]))


def _quarters(side: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """(M,) which quarter of which side each place lies in, as `numpy.array_split` would part the places of each."""
    _, number, counts = np.unique(side, return_inverse=True, return_counts=True)
    order = np.argsort(number, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(side)) - np.repeat(np.cumsum(counts) - counts, counts)
    small, more = np.divmod(counts[number], _QUARTERS)
    first = more * (small + 1)  # places in the quarters that have one more
    quarter = np.where(place < first, place // (small + 1), more + (place - first) // np.maximum(small, 1))
    return np.asarray(_QUARTERS * number + quarter)


def _medians(values: FloatArray, group: npt.NDArray[np.int64]) -> FloatArray:
    """Medians of the values of each group, in the order of the groups' numbers."""
    ordered = values[np.lexsort((values, group))]
    _, counts = np.unique(group, return_counts=True)
    first = np.cumsum(counts) - counts
    return np.asarray(0.5 * (ordered[first + (counts - 1) // 2] + ordered[first + counts // 2]))


def _first_model(squares: tuple[Square, ...], known: LensKnowledge, middle: FloatArray) -> Model:
    """Lens as known, pose from the rough corners; an unknown focal length from the corners' perspective."""
    px = np.concatenate([s.corners_px for s in squares])
    mm = np.concatenate([s.corners_mm for s in squares]) - middle
    lens = known.lens
    if known.source == "none":
        seen = focal_from_map(plane_map(px, mm), lens.centre_px)
        if seen is not None and 0.5 < seen / lens.focal_px < 3.0:
            lens = replace(lens, focal_px=seen)
    return Model(lens, (pose_from_map(plane_map(lens.to_directions(px), mm)),))


def _prior(known: LensKnowledge, print_: Print) -> Prior:
    lens = known.lens
    mean = np.array([np.log(lens.focal_px), *lens.centre_px, lens.k1, lens.k2, 0.0, 0.0, lens.k3])
    return Prior(mean, np.array([*known.sd, print_.aspect_sd, print_.spread_sd_mm, known.k3_sd]))


def _straight_edges(squares: tuple[Square, ...]) -> tuple[Edge, ...]:
    """Sides as straight lines between the rough corners."""
    t = 0.5 + SIDE_PART * np.linspace(-0.5, 0.5, _KNOTS)[:, None]
    edges = []
    for square in squares:
        for i in range(4):
            a, b = square.corners_px[i], square.corners_px[(i + 1) % 4]
            edges.append(_edge(square, a + t * (b - a), square.corners_px.mean(axis=0)))
    return tuple(edges)


def _edge(square: Square, points: FloatArray, centre: FloatArray) -> Edge:
    """Order a side's places with the direction from ink to paper (from inside to outside for a plain square)."""
    away = points.mean(axis=0) - centre
    away = away / norm(away)
    return Edge(points, away if square.ink >= 0 else -away, square.room_px)


def _curved_edges(squares: tuple[Square, ...], model: Model, print_: Print, middle: FloatArray) -> tuple[Edge, ...]:
    """Sides as the solution so far sees them, bent by the lens."""
    scale = CameraScale(model.lens, model.poses[0])
    stretch = np.array(print_.factors(model.spread_mm)) * np.exp([0.5 * model.aspect, -0.5 * model.aspect])
    t = 0.5 + SIDE_PART * np.linspace(-0.5, 0.5, _KNOTS)[:, None]
    edges = []
    for square in squares:
        centre = square.corners_mm.mean(axis=0)
        corners = (square.corners_mm - middle) * stretch
        corners = corners + square.ink * model.spread_mm * np.sign(square.corners_mm - centre)
        centre_px = scale.to_px(corners.mean(axis=0)[None])[0]
        for i in range(4):
            a, b = corners[i], corners[(i + 1) % 4]
            edges.append(_edge(square, scale.to_px(a + t * (b - a)), centre_px))
    return tuple(edges)


def _unsupported(squares: tuple[Square, ...], places: SidePlaces) -> list[RingReport]:
    """Rings of which a side shows too little edge."""
    least = _least_support(squares, places)
    return [
        RingReport(ring, float("nan"), used=False, reason="covered or cut off", support=part)
        for ring, part in least.items()
        if part < LEAST_SUPPORT
    ]


def _least_support(squares: tuple[Square, ...], places: SidePlaces) -> dict[int, float]:
    """Part of its worst side that shows an edge, for each ring."""
    least: dict[int, float] = {}
    for i, square in enumerate(squares):
        least[square.ring] = min(least.get(square.ring, 1.0), float(places.support[4 * i : 4 * i + 4].min()))
    return least


def _evidence(
    squares: tuple[Square, ...], places: SidePlaces, print_: Print, spread_mm: float, middle: FloatArray
) -> Evidence:
    """Pair the measured places with the card's lines."""
    factors = print_.factors(spread_mm)
    axis, place, outward, ring = [], [], [], []
    for square in squares:
        centre = square.corners_mm.mean(axis=0)
        for i in range(4):
            along_x = i % 2 == 0  # top and bottom are lines of constant y
            which = 1 if along_x else 0
            value = float(square.corners_mm[i, which])
            axis.append(which)
            place.append((value - middle[which]) * factors[which])
            outward.append(square.ink * float(np.sign(value - centre[which])))
            ring.append(square.ring)
    sides = Sides(np.array(axis), np.array(place), np.array(outward), np.array(ring))
    return Evidence(sides, places.places_px, places.sd_px, places.side)


def _without(evidence: Evidence, rings: set[int]) -> Evidence:
    """Leave out the places on some rings."""
    if not rings:
        return evidence
    keep = ~np.isin(evidence.sides.ring[evidence.side], list(rings))
    return Evidence(evidence.sides, evidence.places_px[keep], evidence.sd_px[keep], evidence.side[keep])


def _ring_rms(evidence: Evidence, solution: Solution) -> dict[int, float]:
    """Root mean square residual of each ring, px, outliers within it counted."""
    ring = evidence.sides.ring[evidence.side]
    rest = solution.residual_px[0]
    return {int(k): float(np.sqrt(np.mean(rest[ring == k] ** 2))) for k in np.unique(ring)}


def _outlying(evidence: Evidence, solution: Solution) -> list[RingReport]:
    """Rings that disagree with the others; none is left out when fewer than three would remain."""
    rms = _ring_rms(evidence, solution)
    if len(rms) < 4:
        return []
    typical = float(np.median(list(rms.values())))
    bad = [k for k, v in rms.items() if v > max(_OUTLIER * typical, _OUTLIER_PX)]
    bad = sorted(bad, key=lambda k: -rms[k])[: len(rms) - 3]
    return [RingReport(k, rms[k], used=False, reason="does not fit the others") for k in bad]
