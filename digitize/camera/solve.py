"""Weighted least squares for lens and poses: every measured place of a side lies on that side's line.

The residual is the distance (px) of a measured place, freed of the lens, from the projected straight side. Unknown
are a pose a picture, and what the pictures share: focal length, principal point, k1, k2, k3, the print's ratio of X to
Y and the spread of its ink. Each shared unknown has a prior (a mean and a standard deviation); one that is known
exactly has deviation 0 and is left out.

`scipy.optimize.least_squares` was weighed: priors, covariance and what is left over would be worked out here all the
same, and the package (100 MB, 0.3 s to import) would be needed for this alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ..measure.ragged import TO_SD
from ..records import FloatArray
from ..steady import inverse, least_squares, product, pseudo_inverse
from .lens import Lens
from .pose import Pose

SHARED = 8  # unknowns that all pictures share
_TUKEY = 4.685  # 95 % efficiency for normal errors (Huber and Ronchetti, Robust Statistics; value from memory)
_KEPT = 0.6  # of the way to being thrown out: as far as the worst side of a single square may come
_SCALE_ROUNDS = 6  # steps after which the scale of the errors is kept, or the loss would change under the search
_SETTLED_PX = 1e-5  # largest change of a residual in the last step
_NEARLY_SETTLED_PX = 1e-2  # from which a solution counts as found
_BEND_PX = 3.0  # a place farther off its side is something that lies on it, no bend
_OF_LENS = (0, 1, 2, 3, 4, 7)  # places among the unknowns
_OF_CARD = (5, 6, *range(8, 14))  # ratio, spread and one pose
_FLOOR_PX = 0.01  # an edge is never known better than this, see `digitize.trust.uncertainty.LEVEL_SD_PX`
_LEAST_SCALE = 0.2  # stated deviations are not five times too large


@dataclass(frozen=True, slots=True)
class Sides:
    """S sides of squares, parallel to the card's axes."""

    axis: npt.NDArray[np.int64]  # (S,) 0: the line x = place, 1: the line y = place
    place_mm: FloatArray  # (S,) card frame
    outward: FloatArray  # (S,) +1 or -1 along the axis, from ink to paper; 0 where spread does not count
    ring: npt.NDArray[np.int64]  # (S,) which ring or square the side belongs to

    def lines(self, aspect: float, spread: float) -> FloatArray:
        """(S, 3) coefficients of the lines in the card frame, print's ratio and spread of the ink put in."""
        stretch = np.where(self.axis == 0, np.exp(0.5 * aspect), np.exp(-0.5 * aspect))
        place = self.place_mm * stretch + self.outward * spread
        lines = np.zeros((len(place), 3))
        lines[np.arange(len(place)), self.axis] = 1.0
        lines[:, 2] = -place
        return lines


@dataclass(frozen=True, slots=True)
class Evidence:
    """Measured places of one picture along the sides."""

    sides: Sides
    places_px: FloatArray  # (M, 2)
    sd_px: FloatArray  # (M,) across the edge
    side: npt.NDArray[np.int64]  # (M,) index into `sides`


@dataclass(frozen=True, slots=True)
class Model:
    """Everything that is solved for."""

    lens: Lens
    poses: tuple[Pose, ...]
    aspect: float = 0.0  # log of the print's X over Y
    spread_mm: float = 0.0

    @property
    def shared(self) -> FloatArray:
        """What all pictures share, (8,): log focal, centre x, centre y, k1, k2, aspect, spread, k3."""
        lens = self.lens
        bent = (lens.k1, lens.k2)
        return np.array([np.log(lens.focal_px), *lens.centre_px, *bent, self.aspect, self.spread_mm, lens.k3])

    def moved(self, step: FloatArray) -> Model:
        """Return the model after a step in all unknowns: (8 + 6 N,), shared ones first.

        A longer focal length takes the cameras away with it, which leaves the picture nearly as it is: else the two
        could only be stepped together, along a curve, and the search would creep.
        """
        log_f, cx, cy, k1, k2, aspect, spread, k3 = self.shared + step[:SHARED]
        lens = Lens(float(np.exp(log_f)), (float(cx), float(cy)), float(k1), float(k2), float(k3))
        own, away = step[SHARED:].reshape(-1, 6), np.array([1.0, 1.0, np.exp(step[0])])
        followed = (Pose(pose.rotation, pose.shift_mm * away) for pose in self.poses)
        poses = tuple(pose.moved(s[:3], s[3:]) for pose, s in zip(followed, own, strict=True))
        return Model(lens, poses, float(aspect), float(spread))


@dataclass(frozen=True, slots=True)
class Prior:
    """What is known of the shared unknowns beforehand; deviation 0: exactly, infinity: nothing."""

    mean: FloatArray  # (8,)
    sd: FloatArray  # (8,)


@dataclass(frozen=True, slots=True)
class Solution:
    """The estimate, its covariance and what is left over."""

    model: Model
    covariance: FloatArray  # (8 + 6 N, 8 + 6 N); zero rows for what was fixed
    residual_px: tuple[FloatArray, ...]  # a picture: (M,) signed
    weight: tuple[FloatArray, ...]  # a picture: (M,) 0..1, 0 for outliers
    spread_of_errors: float  # residuals over their stated deviations, at least 1 in the covariance
    converged: bool

    @property
    def rms_px(self) -> float:
        """Weighted root mean square of all residuals."""
        rest, weight = np.concatenate(self.residual_px), np.concatenate(self.weight)
        return float(np.sqrt((weight * rest**2).sum() / max(float(weight.sum()), 1e-9)))

    @property
    def focal_sd_part(self) -> float:
        """Standard deviation of the focal length over its value."""
        return float(np.sqrt(self.covariance[0, 0]))


def residuals(evidence: Evidence, pose: Pose, lens: Lens, lines: FloatArray, directions: FloatArray) -> FloatArray:
    """Signed distances (px) of measured places from their projected sides, (M,); `directions` are the places'."""
    return _distances(_projected(pose, lens, lines), evidence.side, directions)


def _projected(pose: Pose, lens: Lens, lines: FloatArray) -> FloatArray:
    """(S, 3) card lines as lines among directions, scaled so that inserting a direction gives px."""
    seen = product(lines, inverse(np.column_stack([pose.rotation[:, :2], pose.shift_mm])))
    return np.asarray(seen * (lens.focal_px / np.hypot(seen[:, 0], seen[:, 1]))[:, None])


def _distances(lines: FloatArray, side: npt.NDArray[np.int64], directions: FloatArray) -> FloatArray:
    of = lines[side]
    return np.asarray(of[:, 0] * directions[:, 0] + of[:, 1] * directions[:, 1] + of[:, 2])


def solve(pictures: tuple[Evidence, ...], start: Model, prior: Prior, *, rounds: int = 30) -> Solution:
    """Gauss-Newton with Levenberg's damping; Tukey's weights, their scale from the median deviation.

    Parameters
    ----------
    pictures
        Measured places a picture.
    start
        First guess, one pose a picture; good to some px.
    prior
        What is known of lens and print.
    rounds
        Most steps.
    """
    model, damping, converged = start, 1e-6, False
    free = free_unknowns(prior, len(pictures))
    rest = all_residuals(pictures, model)
    scale = _robust_scale(pictures, rest)
    for attempt in range(rounds):
        weights = _weights(pictures, rest, scale)
        normal, gradient = _normal_equations(pictures, model, prior, rest, weights)
        cost = _cost(pictures, rest, scale, model, prior)
        for _ in range(8):
            step = np.zeros(len(normal))
            inner = normal[np.ix_(free, free)]
            step[free] = -_solve_scaled(inner, gradient[free], damping)
            tried = model.moved(step)
            with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # far off, a lens bends without end
                tried_rest = all_residuals(pictures, tried)
                tried_cost = _cost(pictures, tried_rest, scale, tried, prior)
            if tried_cost <= cost * (1 + 1e-12):
                damping = max(0.1 * damping, 1e-9)
                break
            damping = max(damping * 10, 1e-6)
        else:
            converged = True
            break
        size = float(max(np.abs(a - b).max(initial=0.0) for a, b in zip(tried_rest, rest, strict=True)))
        model, rest = tried, tried_rest
        settled = attempt >= _SCALE_ROUNDS
        if not settled:
            scale = _robust_scale(pictures, rest)
        converged = size < _NEARLY_SETTLED_PX
        if size < _SETTLED_PX and (settled or size < 0.1 * _SETTLED_PX):
            break
    return _solution(pictures, model, prior, rest, scale, free, converged=converged)


def free_unknowns(prior: Prior, count: int) -> npt.NDArray[np.bool_]:
    """(8 + 6 N,) which unknowns are not known exactly, of so many pictures."""
    return np.concatenate([prior.sd > 0, np.ones(6 * count, bool)])


def columns_of(index: int) -> npt.NDArray[np.int64]:
    """(14,) which unknowns the picture of this index tells of."""
    return np.asarray(np.r_[0:SHARED, SHARED + 6 * index : SHARED + 6 * (index + 1)])


def all_residuals(pictures: tuple[Evidence, ...], model: Model) -> list[FloatArray]:
    """Return `residuals` of each picture, (M,)."""
    return [
        residuals(
            e, pose, model.lens, e.sides.lines(model.aspect, model.spread_mm), model.lens.to_directions(e.places_px)
        )
        for e, pose in zip(pictures, model.poses, strict=True)
    ]


def _robust_scale(pictures: tuple[Evidence, ...], rest: list[FloatArray]) -> float:
    """Residuals over their deviations: by the median size, not below a hundredth of a pixel.

    Of a single square no side may be thrown out as a whole: a pose fits any three sides exactly.
    """
    sized = [r / e.sd_px for e, r in zip(pictures, rest, strict=True)]
    least = float(np.median(np.concatenate([_FLOOR_PX / e.sd_px for e in pictures])))
    alone = [_worst_side(e, u) for e, u in zip(pictures, sized, strict=True) if _is_single(e)]
    typical = TO_SD * float(np.median(np.abs(np.concatenate(sized))))
    return max(typical, least, _LEAST_SCALE, *(worst / (_KEPT * _TUKEY) for worst in alone))


def _is_single(evidence: Evidence) -> bool:
    """Whether all sides belong to one ring or square."""
    return len(np.unique(evidence.sides.ring)) == 1


def _worst_side(evidence: Evidence, sized: FloatArray) -> float:
    """Largest median residual of a side."""
    return max(abs(float(np.median(sized[evidence.side == side]))) for side in np.unique(evidence.side))


def _weights(pictures: tuple[Evidence, ...], rest: list[FloatArray], scale: float) -> list[FloatArray]:
    weights = []
    for e, r in zip(pictures, rest, strict=True):
        u = r / (e.sd_px * scale * _TUKEY)
        weights.append(np.where(np.abs(u) < 1, (1 - u**2) ** 2, 0.0))
    return weights


def _cost(pictures: tuple[Evidence, ...], rest: list[FloatArray], scale: float, model: Model, prior: Prior) -> float:
    """Tukey's loss of all residuals, in units that the prior's squares share."""
    c = scale * _TUKEY
    total = 0.0
    for e, r in zip(pictures, rest, strict=True):
        u2 = np.minimum((r / (e.sd_px * c)) ** 2, 1.0)
        total += c**2 / 3.0 * float((1 - (1 - u2) ** 3).sum())
    off, known = model.shared - prior.mean, (prior.sd > 0) & np.isfinite(prior.sd)
    return total + float(((off[known] / prior.sd[known]) ** 2).sum())


def _normal_equations(
    pictures: tuple[Evidence, ...], model: Model, prior: Prior, rest: list[FloatArray], weights: list[FloatArray]
) -> tuple[FloatArray, FloatArray]:
    size = SHARED + 6 * len(pictures)
    normal, gradient = np.zeros((size, size)), np.zeros(size)
    for i, evidence in enumerate(pictures):
        slopes = slopes_of(evidence, model, i, rest[i])
        columns = columns_of(i)
        weighted = slopes * (weights[i] / evidence.sd_px**2)[:, None]
        normal[np.ix_(columns, columns)] += product(weighted.T, slopes)
        gradient[columns] += product(weighted.T, rest[i])
    known = np.flatnonzero((prior.sd > 0) & np.isfinite(prior.sd))
    normal[known, known] += prior.sd[known] ** -2.0
    gradient[known] += (model.shared - prior.mean)[known] * prior.sd[known] ** -2.0
    return normal, gradient


def slopes_of(evidence: Evidence, model: Model, index: int, rest: FloatArray) -> FloatArray:
    """(M, 14) derivatives of one picture's residuals by the shared unknowns and its pose."""
    pose, lens = model.poses[index], model.lens
    directions = lens.to_directions(evidence.places_px)
    lines, by_line = _line_slopes(pose, lens, evidence.sides, model)
    slopes = np.empty((len(rest), SHARED + 6))
    slopes[:, _OF_LENS] = _lens_slopes(lens, directions, lines[evidence.side], rest)
    of = by_line[:, evidence.side]
    slopes[:, _OF_CARD] = (of[..., 0] * directions[:, 0] + of[..., 1] * directions[:, 1] + of[..., 2]).T
    slopes[:, 0] += slopes[:, -1] * pose.shift_mm[2]  # see `Model.moved`
    return slopes


def _line_slopes(pose: Pose, lens: Lens, sides: Sides, model: Model) -> tuple[FloatArray, FloatArray]:
    """(S, 3) projected lines, and (8, S, 3) their derivatives by the print's ratio and spread, turn and shift.

    A line l of the card is seen as l H^-1, H = (r1 r2 t), and d(H^-1) = -H^-1 dH H^-1. Differences of small steps would
    not do: their own error is as large as what a nearly perpendicular view tells of focal length and distance.
    """
    back = inverse(np.column_stack([pose.rotation[:, :2], pose.shift_mm]))
    drawn = sides.lines(model.aspect, model.spread_mm)
    seen = product(drawn, back)
    moved = np.zeros((8, len(drawn), 3))
    half = np.where(sides.axis == 0, 0.5, -0.5)
    moved[0] = ((drawn[:, 2] + sides.outward * model.spread_mm) * half)[:, None] * back[2]
    moved[1] = -sides.outward[:, None] * back[2]
    for k in range(3):
        axis = np.zeros(3)
        axis[k] = 1.0
        turned = np.cross(axis, pose.rotation[:, :2], axisb=0).T
        moved[2 + k] = -product(product(seen, turned), back[:2])
        moved[5 + k] = -seen[:, k, None] * back[2]
    size = np.hypot(seen[:, 0], seen[:, 1])
    shrunk = (moved[..., 0] * seen[:, 0] + moved[..., 1] * seen[:, 1]) / size**2
    scale = (lens.focal_px / size)[:, None]
    return seen * scale, (moved - shrunk[..., None] * seen) * scale


def _lens_slopes(lens: Lens, directions: FloatArray, of: FloatArray, rest: FloatArray) -> FloatArray:
    """(M, 6) derivatives by log focal, centre x and y, k1, k2, k3: how a place's direction moves, along its line."""
    r2 = (directions**2).sum(axis=1)
    around = 1.0 + r2 * (lens.k1 + r2 * (lens.k2 + r2 * lens.k3))
    outward = 1.0 + r2 * (3.0 * lens.k1 + r2 * (5.0 * lens.k2 + 7.0 * lens.k3 * r2))
    along = (of[:, :2] * directions).sum(axis=1)
    radial = along / np.maximum(r2, 1e-12)
    centre = -(of[:, :2] / around[:, None] + (radial * (1 / outward - 1 / around))[:, None] * directions)
    bent = [-along * r2**power / outward for power in (1, 2, 3)]
    return np.column_stack([rest - along * around / outward, centre / lens.focal_px, *bent])


def _solve_scaled(normal: FloatArray, gradient: FloatArray, damping: float) -> FloatArray:
    """Damped solution with unit diagonal: the unknowns have units from 1e-5 to 1e3."""
    size = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    scaled = normal / np.outer(size, size) + damping * np.eye(len(normal))
    return np.asarray(least_squares(scaled, gradient / size, least=1e-14) / size)


def _solution(
    pictures: tuple[Evidence, ...],
    model: Model,
    prior: Prior,
    rest: list[FloatArray],
    scale: float,
    free: npt.NDArray[np.bool_],
    *,
    converged: bool,
) -> Solution:
    weights = _weights(pictures, rest, scale)
    normal, _ = _normal_equations(pictures, model, prior, rest, [(w > 0).astype(np.float64) for w in weights])
    used = np.concatenate([_counted(e, r, w) for e, r, w in zip(pictures, rest, weights, strict=True)])
    sized = np.concatenate([r / e.sd_px for e, r in zip(pictures, rest, strict=True)])[used]
    over = max(len(sized) - int(free.sum()), 1)
    errors = float(np.sqrt((sized**2).sum() / over))
    covariance = covariance_of(_with_inflated_noise(normal, prior, max(errors, 1.0)), free)
    return Solution(model, covariance, tuple(rest), tuple(weights), errors, converged)


def _counted(evidence: Evidence, rest: FloatArray, weight: FloatArray) -> npt.NDArray[np.bool_]:
    """Places whose errors count: those that were fitted, and of a single square also those that its bend threw out."""
    return (weight > 0) | (_is_single(evidence) & (np.abs(rest) < _BEND_PX))


def _with_inflated_noise(normal: FloatArray, prior: Prior, factor: float) -> FloatArray:
    """Normal matrix with the measurements' part divided by `factor` squared and the prior's left as it is."""
    known = np.flatnonzero((prior.sd > 0) & np.isfinite(prior.sd))
    own = np.zeros_like(normal)
    own[known, known] = prior.sd[known] ** -2.0
    return np.asarray((normal - own) / factor**2 + own)


def covariance_of(normal: FloatArray, free: npt.NDArray[np.bool_]) -> FloatArray:
    """Inverse of a normal matrix among the unknowns that are `free`; zero rows for the others."""
    covariance = np.zeros_like(normal)
    inner = normal[np.ix_(free, free)]
    size = np.sqrt(np.maximum(np.diag(inner), 1e-300))
    covariance[np.ix_(free, free)] = pseudo_inverse(inner / np.outer(size, size), least=1e-13) / np.outer(size, size)
    return covariance
