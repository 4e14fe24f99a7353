"""A dense ring to the fewest lines and arcs within a tolerance."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..errors import UsageError
from ..measure.rings import rolled
from ..records import Circle, Curve, FloatArray, Path
from ..steady import as_complex
from .alike import with_equal_fillets
from .bulge import curve_ring, make_path, moved_circle
from .circle import fit_circle
from .distance import distances_both_ways
from .draft import Draft, first_draft, following, in_order, kinks_of, offsets
from .free import Scene, has_kinks, without_kinks
from .lined import lined
from .pieces import IntArray, Limits, fit_stretches
from .polish import ROUGH, Goal, polish
from .proof import keeps_within
from .repair import Flat, repaired, smoothed, spread, straightened
from .ring import Ring, smoothed_ring
from .search import Candidates, best_breaks, count_pieces, find_candidates, find_reach
from .spikes import blunted, clipped
from .tangent import rounded, tangent_all
from .tidy import with_whole_lines, without_small
from .vast import along_vast, without_vast

_SAMPLES = 48  # points looked at to judge one piece
_MOST_CANDIDATES = 2400
_PEAK = 4.5  # standard deviations: the largest of 20,000 white-noise values is 4.1 on average
_SLACK = 1.2  # least squares leaves up to about this much more than levelled offsets need
_KEEP = 0.99  # of the tolerance, for the points between samples
_EASIER = (1.0, 0.6, 0.3)  # tolerances tried, as shares of the one asked for
_LAST_BETTER = 0.5  # of the tolerance: closer ones are tried only where nothing has been found
_SHORTEST_MM = 1e-4  # length: a shorter piece is a point in a file
_STEP_MM = 0.05
_QUIET = 5.5  # standard deviations in the tolerance: leaves some of it for the curve
_NOISELESS = 40  # times the noise is less than the tolerance where it cannot be what comes near the limit
_LEVELLED = 0.95  # of the limit
_CORNER = np.radians(5)
_AT_CORNER = 2  # points: so near to a corner a joint is the corner
_CALMER = 4  # times less noise in the ring that is searched
_NEAR = 16  # points
_TAKEN_OFF = 0.75  # of the largest noise near by: it seldom meets the curve's own largest offset
_MOST_AVERAGED = 12  # neighbours on each side
_UNSURE = 0.75  # of the tolerance: a larger sagitta is an arc's, whatever the noise
_MISFIT = 0.15  # of the tolerance: more than that beyond the noise, root mean square, and a piece is none of the ring's
_MOST_CUT = 0.1  # of the pieces: if more only cut spikes off, a closer search may need no more pieces


Joins = Literal["smooth", "fewest"]


def fit_curve(ring: Ring, *, tolerance_mm: float = 0.02, joins: Joins = "smooth", like: Curve | None = None) -> Curve:
    """Describe a closed dense ring by straight lines and circular arcs as people draw them, within the tolerance.

    Of all closed paths that keep to the tolerance both ways, wanted is one, in this order,

    1. of the fewest pieces K, counted for the ring at 1.2 tolerances and never more than K + 1 + K / 12 from there
       (Imai and Iri 1986: shortest way through the stretches that one piece explains);
    2. with lines before arcs: a piece is straight where its sagitta is below 12 sd / sqrt(n), n points of noise sd
       (3.6 standard deviations of a parabola's sagitta), but at least below 1/20 and never above 3/4 of the tolerance,
       or where its radius would be above 2 m; and one or two lines stand for an arc of a radius below 0.2 mm, where
       they keep to the tolerance;
    3. with tangent joints, turning by less than 0.3 degrees, but at corners: joints that turn by more than 20 degrees,
       that are given, where two lines meet, or, above 5 degrees, where no tangent arc of at least 0.4 mm radius comes
       nearer to the ring. Nor is a sharper one a corner, up to some 50 degrees (twice the turn that hides an arc of
       0.4 mm radius in two tolerances), where two parabolas that part there are not clearly nearer to the ring than one
       curve of the fifth order, with as many terms. A joint is tangent for free while the root mean square of its
       pieces grows by less than half; with `joins` "smooth" the path may take up to 30 % more pieces for those that are
       left (at least one), as arcs that are tangent need about 15 % more than arcs that kink (of a ring whose curvature
       changes by k' a mm, an arc of h mm strays by k' h^3 / 192 at least, by k' h^3 / 125 where all joints are
       tangent). A stretch between two corners that then still kinks is written anew, by a shortest way through arcs
       that are tangent (`spline`); a corner that the ring itself cuts off may become a line shorter than 0.3 mm;
    4. with equal features alike: fillets between straight sides whose radii lie within 5 % share one, where none of
       them moves by more than a quarter of the tolerance for it;
    5. of the least sum of squared distances, all pieces together (weight 1 a point), so the curve lies as much
       outside the ring as inside; where single points are then beyond the limit, of the least 32nd power of the
       distances in limits, with 100 times the number of points as the weight of their mean's square.

    Parameters
    ----------
    ring
        Of `digitize.fitting.ring.make_ring`. Each of its corners becomes a joint and is never smoothed.
    tolerance_mm
        The largest distance permitted, from the curve to the ring and from the ring to the curve.
    joins
        Whether pieces may be added for tangent joints.
    like
        A path that explains the ring, such as the ideal shape that it is: where no path has fewer pieces, as many are
        fitted from there, and none looked for.

    Returns
    -------
    Path or Circle
        In the direction of the ring, closed, without self-crossing, its distances measured before it is
        returned. No arc has a radius above 2 m: lines stand in its place. Where 4.5 sd exceeds the tolerance no
        smooth curve can meet every single point: the ring is then averaged over up to 25 points first, and the
        tolerance (or 4.5 times the sd that is left, if more) holds for what comes out; single points near
        corners, left as they are, may stray by 4.5 sd. Where a ring turns within fewer points than a piece
        needs, as at teeth in a coarse scan, straight lines through points of its own stand there.

    Raises
    ------
    UsageError
        If the tolerance is not positive.
    """
    if not (np.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise UsageError(f"the tolerance must be above 0 mm, got {tolerance_mm}")
    circle = None if ring.corners else full_circle(ring, tolerance_mm=tolerance_mm)
    if circle is not None:
        return circle
    task = _task(ring.dense_mm, ring.dense_corners, tolerance_mm, ring.sd_mm)
    path = _proven(
        task, joins, _known_breaks(task, like.points_mm - ring.middle_mm) if isinstance(like, Path) else None
    )
    path = _alike(path, task)
    return make_path(path.points_mm + ring.middle_mm, path.bulges)


def _alike(path: Path, task: _Task) -> Path:
    """Return the path with its equal fillets alike, if it still keeps to its limits."""
    alike = with_equal_fillets(path, tolerance_mm=task.tolerance_mm)
    if alike is path:
        return path
    return alike if _keeps(alike, _near(alike, task.ring), task) and _is_simple(alike, task.tolerance_mm) else path


def _near(path: Path, ring: FloatArray) -> IntArray:
    """Return (K,) the points of the ring nearest to a path's vertices, ascending but for its turn around."""
    gaps = as_complex(ring) - as_complex(path.points_mm)[:, None]
    near = np.argmin(gaps.real**2 + gaps.imag**2, axis=1)
    return np.asarray(near + len(ring) * (np.arange(len(near)) > int(np.argmax(np.diff(near, append=near[0]) < 0))))


def full_circle(ring: Ring, *, tolerance_mm: float = 0.02) -> Circle | None:
    """Return the full circle that explains a ring as `fit_curve` judges it, or None."""
    found = fit_circle(ring.dense_mm)
    if found.worst_mm > max(tolerance_mm, _PEAK * ring.sd_mm) or found.worst_mean_mm > tolerance_mm:
        return None
    return moved_circle(Circle((float(found.centre[0]), float(found.centre[1])), found.radius), *ring.middle_mm)


@dataclass(frozen=True, slots=True)
class _Task:
    """A ring to be fitted, and how far each of its points may stray."""

    ring: FloatArray  # (N, 2), noise averaged out where it hides the tolerance
    corners: tuple[int, ...]
    tolerance_mm: float
    limit_mm: FloatArray  # (N,)
    noise_mm: float  # left in the ring
    sd_mm: float  # in the ring as it was measured

    @property
    def noisy(self) -> bool:
        """Whether it matters that every point is used."""
        return self.noise_mm > self.tolerance_mm / _NOISELESS

    @property
    def flat(self) -> Flat:
        """What is straight."""
        return Flat(self.tolerance_mm / 20, _UNSURE * self.tolerance_mm, self.sd_mm)

    def eased(self, share: float) -> _Task:
        """Return the task at a share of its tolerance."""
        return replace(self, tolerance_mm=share * self.tolerance_mm, limit_mm=share * self.limit_mm)


def _task(ring: FloatArray, corners: tuple[int, ...], tolerance: float, sd: float) -> _Task:
    if _PEAK * sd <= tolerance:
        return _Task(ring, corners, tolerance, np.full(len(ring), tolerance), sd, sd)
    coarse = _Task(ring, corners, tolerance, np.full(len(ring), _PEAK * sd), sd, sd)
    calm, smooth, left = smoothed_ring(
        ring, sd_mm=sd, residue_mm=tolerance / _QUIET, most=_MOST_AVERAGED, corners=_kinks(coarse)
    )
    limit = np.where(smooth, max(tolerance, _PEAK * left), _PEAK * sd)
    return replace(coarse, ring=calm, limit_mm=limit, noise_mm=left if smooth.any() else sd)


def _kinks(task: _Task) -> IntArray:
    """Return indices of the points where a coarse fit has a corner: noise must not be averaged across it."""
    draft = polish(first_draft(task.ring, _find_breaks(task, _candidates(task), 1.0), task.corners), task.ring)
    sharp = np.abs(kinks_of(draft)) > _CORNER
    return np.asarray(draft.breaks[sharp] % len(task.ring))


def _known_breaks(task: _Task, joints: FloatArray) -> IntArray | None:
    """Return the points of the ring nearest to the joints (K, 2) of a path; None where fewer pieces might do.

    Of fewer pieces one would hold the middles of two neighbours. So none do where no circle or line explains the way
    from any middle to the next.
    """
    calm = _calmed(task)
    gaps = calm.ring[None] - joints[:, None]
    breaks = np.argmin(gaps[..., 0] ** 2 + gaps[..., 1] ** 2, axis=1)
    for corner in task.corners:
        breaks[np.abs(breaks - corner) <= _AT_CORNER] = corner
    breaks = np.unique(breaks)
    if len(breaks) != len(joints) or not set(task.corners) <= set(breaks.tolist()):
        return None
    lengths = np.diff(breaks, append=breaks[0] + len(calm.ring))
    starts, ways = breaks + lengths // 2 + 2, (lengths + following(lengths)) // 2 - 4
    if ways.min() < _AT_CORNER:
        return None
    tried = fit_stretches(calm.ring, starts % len(calm.ring), ways, limits=_limits(calm, _SLACK), samples=_SAMPLES)
    return None if tried.fits.any() else breaks


def _proven(task: _Task, joins: Joins, known: IntArray | None = None) -> Path:
    """Return a path that has passed the check; straight lines through the ring's own points as a last resort."""
    best: Draft | None = None
    for share in _EASIER:
        if best is not None and share < _LAST_BETTER:
            break
        draft, cut = _begun(task, known) if known is not None and share == 1.0 else (None, 0)
        if draft is None:
            draft, cut = _fitted(task.eased(share), all_tangent=joins == "smooth" and share == 1.0)
        if draft is None or not _holds(draft, task):
            continue
        if best is None or _rank(draft, task.ring) < _rank(best, task.ring):
            best = draft
        if cut <= _MOST_CUT * len(draft.breaks):
            break
    if best is None or best.fixed.all():  # lines stand in it, or it is one of lines and corners
        lines = _thinned(task.ring, task.tolerance_mm)
        if best is None or len(lines.bulges) < len(best.bulges):
            return lines
    keep = _KEEP * task.limit_mm
    for tidied in (with_whole_lines, without_small):
        trial = tidied(best, task.ring, keep)
        best = trial if trial is best or _holds(trial, task) else best
    found = [best, *_smooth(best, task)] if joins == "smooth" else [best]
    return next(one for one in reversed(found) if one is best or _holds(one, task)).path()


def _smooth(draft: Draft, task: _Task) -> list[Draft]:
    """Return the draft with ever fewer kinks."""
    keep = _KEEP * task.limit_mm
    smooth = rounded(draft, task.ring, keep)
    if smooth is not draft:
        smooth = clipped(smooth, task.ring, keep)
    given = np.isin(smooth.breaks % len(task.ring), draft.breaks[draft.fixed] % len(task.ring))
    if not has_kinks(replace(smooth, fixed=given), keep):
        return [smooth]
    calm = _calmed(task)
    scene = Scene(task.ring, keep, task.noise_mm, calm.ring, _KEEP * calm.limit_mm)
    return [smooth, without_kinks(draft, smooth, scene)]


def _rank(draft: Draft, ring: FloatArray) -> tuple[int, float]:
    """Fewest pieces first, then the least sum of squares."""
    return len(draft.breaks), float(np.sum(offsets(draft, ring) ** 2))


def _holds(draft: Draft, task: _Task) -> bool:
    """Check both distances, that each piece has a length, and that the path does not cross itself.

    By means that the fit does not use.
    """
    if draft.lengths.min() < _SHORTEST_MM:
        return False
    path = draft.path()
    return _keeps(path, draft.breaks, task) and _is_simple(path, task.tolerance_mm)


def _keeps(path: Path, breaks: IntArray, task: _Task) -> bool:
    """Check both distances of a path whose pieces answer for points about `breaks`: by bounds, else themselves."""
    if keeps_within(path, breaks, task.ring, task.limit_mm):
        return True
    away, back = distances_both_ways(path, task.ring, step_mm=_STEP_MM)
    return bool(np.all(away <= task.limit_mm) and back.max() <= task.limit_mm.max())


def _is_simple(path: Path, tolerance_mm: float) -> bool:
    import shapely

    outline = curve_ring(path, chord_mm=tolerance_mm / 20)  # two lines there and back are none
    return len(outline) > 2 and bool(shapely.is_valid(shapely.polygons(outline)))


def _thinned(ring: FloatArray, tolerance: float) -> Path:
    import shapely

    thin = shapely.simplify(shapely.polygons(ring), _KEEP * tolerance, preserve_topology=True)
    points = shapely.get_coordinates(thin)[:-1]
    return make_path(points, np.zeros(len(points)))


def _drafted(task: _Task, breaks: IntArray) -> Draft:
    return polish(first_draft(task.ring, breaks, task.corners), task.ring, ROUGH)


def _free(draft: Draft, task: _Task) -> bool:
    """Tell whether most of the ring is neither line nor arc: what is left of it there is no noise."""
    rms, _, count = spread(draft, task.ring, task.limit_mm)
    filled = count > 0
    averaged = in_order(draft, task.limit_mm <= task.limit_mm.min())
    noise = np.zeros(len(count))
    first = (np.cumsum(count) - count)[filled]
    noise[filled] = np.add.reduceat(np.where(averaged, task.noise_mm, task.sd_mm) ** 2, first) / count[filled]
    misfit = rms**2 - noise > (_MISFIT * task.tolerance_mm) ** 2
    return 2 * int(count[misfit].sum()) > len(task.ring)


def _fitted(task: _Task, *, all_tangent: bool) -> tuple[Draft | None, int]:
    """Search with the tolerance stretched first, as least squares is not the last word; then as it is.

    Returns the draft, and how many of its pieces only cut a spike off.
    """
    ring, keep = task.ring, _KEEP * task.limit_mm
    calm = _calmed(task)
    found = _candidates(calm)
    for slack in (_SLACK, 1.0):
        breaks = _find_breaks(calm, found, slack)
        draft = _drafted(task, breaks)
        if all_tangent and slack > 1 and _free(draft, task):
            smooth = tangent_all(draft, ring, keep, lambda of: _drafted(task, _find_breaks(calm, found, of * _SLACK)))
            final = None if smooth is None else blunted(smooth, ring, keep)
            if final is not None and _holds(final, task):
                return final, 0
        most = _most(len(breaks)) if slack > 1 else len(ring) // 4
        final, cut = _finished(task, draft, keep, most, lines=slack == 1.0)
        if final is not None:
            return final, cut
    return None, 0


def _begun(task: _Task, breaks: IntArray) -> tuple[Draft | None, int]:
    """Return what becomes of a draft with joints at these points, as `_fitted` does."""
    return _finished(task, _drafted(task, breaks), _KEEP * task.limit_mm, _most(len(breaks)))


def _most(pieces: int) -> int:
    return pieces + 1 + pieces // 12


def _finished(
    task: _Task, draft: Draft, keep: FloatArray, most: int, *, lines: bool = False
) -> tuple[Draft | None, int]:
    """Bring a draft within its limits by at most so many pieces; tell how many of them only cut a spike off.

    With `lines`, straight lines through the ring's own points stand where pieces are too short to be divided.
    """
    ring = task.ring
    if task.noisy:
        draft = polish(draft, ring, Goal(every_point=True))
    whole = repaired(draft, ring, keep, flat=task.flat, most=most)
    if whole is None:
        return None, 0
    stuck = bool(spread(whole, ring, keep)[1].max() > 1)
    if stuck and not lines:
        return None, 0
    settled = without_vast(_settled(smoothed(whole, ring, keep), task, keep), ring, keep)
    if stuck:
        return lined(along_vast(settled, keep), ring, keep), 0
    final = along_vast(blunted(settled, ring, keep), keep)
    return final, len(final.breaks) - len(settled.breaks)


def _settled(draft: Draft, task: _Task, keep: FloatArray) -> Draft:
    """Fit once more to every point, if least squares keeps the limit; not where it had to be levelled for that."""
    if spread(draft, task.ring, keep)[1].max() > _LEVELLED and not task.noisy:
        return draft
    goal = Goal(every_point=True)
    final = straightened(polish(draft, task.ring, goal), task.ring, keep, task.flat, goal)
    return final if spread(final, task.ring, keep)[1].max() <= 1 else draft


def _calmed(task: _Task) -> _Task:
    """Return the task with the noise averaged out and taken off the limits, for a search that looks at few points."""
    if not task.noisy or task.limit_mm.max() > task.tolerance_mm:
        return task
    calm, _, left = smoothed_ring(
        task.ring, sd_mm=task.noise_mm, residue_mm=task.noise_mm / _CALMER, most=_MOST_AVERAGED, corners=task.corners
    )
    noise = _TAKEN_OFF * _largest_near(np.hypot(*(task.ring - calm).T), _NEAR)
    limit = np.maximum(task.limit_mm - noise, task.limit_mm / 5)
    return replace(task, ring=calm, limit_mm=limit, noise_mm=left)


def _largest_near(values: FloatArray, reach: int) -> FloatArray:
    """Return (N,) at least the largest of each value's neighbours, less than twice `reach` away, around a ring."""
    count = len(values)
    padded = np.append(values, values[: -count % reach])
    groups = padded.reshape(-1, reach).max(axis=1)
    wide = np.maximum(groups, np.maximum(rolled(groups, 1), rolled(groups, -1)))
    return np.asarray(np.repeat(wide, reach)[:count])


def _candidates(task: _Task) -> Candidates:
    return find_candidates(
        task.ring, task.corners, spread_mm=max(task.tolerance_mm / 3, 2 * task.noise_mm), most=_MOST_CANDIDATES
    )


def _limits(task: _Task, slack: float) -> Limits:
    return Limits(slack * task.limit_mm, 2 * task.tolerance_mm + float(task.limit_mm.max()))


def _find_breaks(task: _Task, found: Candidates, slack: float) -> IntArray:
    reach = find_reach(task.ring, found, limits=_limits(task, slack), samples=_SAMPLES)
    start = int(np.argmin(count_pieces(reach)))
    return best_breaks(task.ring, found, reach, start, samples=_SAMPLES // 2)
