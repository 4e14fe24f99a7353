"""A dense ring to the fewest lines and arcs within a tolerance."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Literal

import numpy as np

from ..errors import UsageError
from ..records import Circle, Curve, FloatArray, Path
from ..steady import as_complex
from .alike import with_equal_fillets
from .bulge import curve_ring, make_path, moved_circle, path_kinks
from .circle import fit_circles
from .distance import distances_both_ways
from .draft import Draft, counts_of, first_draft, following, in_order, in_sequence, offsets
from .free import Scene, has_kinks, without_kinks
from .goal import ROUGH, Goal
from .known import as_draft, fitted_as_known
from .lined import lined
from .pieces import IntArray, judged
from .polish import polish
from .proof import keeps_within
from .repair import repaired, smoothed, spread, straightened
from .ring import Ring
from .search import Candidates
from .spikes import blunted, clipped
from .tangent import rounded, tangent_all
from .task import PEAK, SAMPLES, SLACK, Task, calmed, candidates, find_breaks, limits_of, make_task
from .tidy import with_whole_lines, without_small
from .together import Wish, alone
from .vast import along_vast, without_vast

_HOLDS = "holds"  # where it is kept of a draft whether it passed the check, with the task that it is for
_KEEP = 0.99  # of the tolerance, for the points between samples
_EASIER = (1.0, 0.6, 0.3)  # tolerances tried, as shares of the one asked for
_LAST_BETTER = 0.5  # of the tolerance: closer ones are tried only where nothing has been found
_SHORTEST_MM = 1e-4  # length: a shorter piece is a point in a file
_STEP_MM = 0.05  # between places at which a path is held against its ring
_THERE_AND_BACK = np.radians(150)  # a kink so sharp makes a needle
_ABOUT_TIP = 3  # pieces on either side
_TIP_MM = 1e-6  # of chords about a tip
_LEVELLED = 0.95  # of the limit
_AT_CORNER = 2  # points: so near to a corner a joint is the corner
_MISFIT = 0.15  # of the tolerance: more than that beyond the noise, root mean square, and a piece is none of the ring's
_MOST_CUT = 0.1  # of the pieces: if more only cut spikes off, a closer search may need no more pieces
_SPARE_PIECES = 12  # one piece in so many more than known, and one, may be added; chosen, no source


Joins = Literal["smooth", "fewest"]


def fit_curve(ring: Ring, *, tolerance_mm: float = 0.02, joins: Joins = "smooth", like: Curve | None = None) -> Curve:
    """Describe a closed dense ring by straight lines and circular arcs as people draw them, within the tolerance.

    Of all closed paths that keep to the tolerance both ways, wanted is one, in this order,

    1. of the fewest pieces K, counted for the ring at 1.2 tolerances and never more than K + 1 + K / 12 from there
       (Imai and Iri 1986: shortest way through the stretches that one piece explains);
    2. with lines before arcs: a piece is straight where its sagitta is below 12 sd / sqrt(n), n points of noise sd
       (3.6 standard deviations of a parabola's sagitta), but at least below 1/20 and never above 3/4 of the tolerance,
       or where its radius would be above 2 m; and one or two lines stand for an arc of a radius below 0.2 mm, where
       they keep to the tolerance
       (a shape that is `like` the ring keeps its lines and tangent joints while nothing that is left in a piece is a
       tenth of the tolerance);
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
    return alone(curve_of(ring, tolerance_mm=tolerance_mm, joins=joins, like=like))


async def curve_of(
    ring: Ring, *, tolerance_mm: float = 0.02, joins: Joins = "smooth", like: Curve | None = None
) -> Curve:
    """Describe a ring as `fit_curve` does, in step with others (`together`)."""
    if not (np.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise UsageError(f"the tolerance must be above 0 mm, got {tolerance_mm}")
    circle = None if ring.corners else await _full_circle(ring, tolerance_mm)
    if circle is not None:
        return circle
    task = await make_task(ring.dense_mm, ring.dense_corners, tolerance_mm, ring.sd_mm)
    path = await _proven(
        task,
        joins,
        await _known(task, make_path(like.points_mm - ring.middle_mm, like.bulges)) if isinstance(like, Path) else None,
    )
    path = _alike(path, task)
    return make_path(path.points_mm + ring.middle_mm, path.bulges)


def _alike(path: Path, task: Task) -> Path:
    """Return the path with its equal fillets alike, if it still keeps to its limits."""
    alike = with_equal_fillets(path, tolerance_mm=task.tolerance_mm)
    if alike is path:
        return path
    return alike if _keeps(alike, _near(alike, task.ring), task) and is_simple(alike, task.tolerance_mm) else path


def _near(path: Path, ring: FloatArray) -> IntArray:
    """Return (K,) the points of the ring nearest to a path's vertices, ascending but for its turn around."""
    gaps = as_complex(ring) - as_complex(path.points_mm)[:, None]
    near = np.argmin(gaps.real**2 + gaps.imag**2, axis=1)
    return np.asarray(near + len(ring) * (np.arange(len(near)) > int(np.argmax(np.diff(near, append=near[0]) < 0))))


def full_circle(ring: Ring, *, tolerance_mm: float = 0.02) -> Circle | None:
    """Return the full circle that explains a ring as `fit_curve` judges it, or None."""
    return alone(_full_circle(ring, tolerance_mm))


async def _full_circle(ring: Ring, tolerance_mm: float) -> Circle | None:
    width, height = (float(column.max() - column.min()) for column in ring.dense_mm.T)
    if abs(width - height) > 4 * max(tolerance_mm, PEAK * ring.sd_mm):  # either is a diameter, by twice the limit
        return None
    found = await Wish(fit_circles, ring.dense_mm)
    if found.worst_mm > max(tolerance_mm, PEAK * ring.sd_mm) or found.worst_mean_mm > tolerance_mm:
        return None
    return moved_circle(Circle((float(found.centre[0]), float(found.centre[1])), found.radius), *ring.middle_mm)


async def _known(task: Task, path: Path) -> Draft | None:
    """Return a known path as a draft, broken at the points of the ring nearest to its joints; None if fewer might do.

    Of fewer pieces one would hold the middles of two neighbours. So none do where no circle or line explains the way
    from any middle to the next.
    """
    calm = calmed(task)
    gaps = calm.ring[None] - path.points_mm[:, None]
    breaks = np.argmin(gaps[..., 0] ** 2 + gaps[..., 1] ** 2, axis=1)
    for corner in task.corners:
        breaks[np.abs(breaks - corner) <= _AT_CORNER] = corner
    known = as_draft(path, breaks, task.corners)
    if known is None or not set(task.corners) <= set(breaks.tolist()):
        return None
    lengths = counts_of(known, len(calm.ring))
    starts, ways = known.breaks + lengths // 2 + 2, (lengths + following(lengths)) // 2 - 4
    if ways.min() < _AT_CORNER:
        return None
    tried = await judged(calm.ring, starts % len(calm.ring), ways, limits=limits_of(calm, SLACK), samples=SAMPLES)
    return None if tried.fits.any() else known


async def _proven(task: Task, joins: Joins, known: Draft | None = None) -> Path:
    """Return a path that has passed the check; straight lines through the ring's own points as a last resort."""
    best: Draft | None = None
    for share in _EASIER:
        if best is not None and share < _LAST_BETTER:
            break
        draft, cut = await _begun(task, known) if known is not None and share == 1.0 else (None, 0)
        if draft is None:
            draft, cut = await _fitted(task.eased(share), all_tangent=joins == "smooth" and share == 1.0)
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
    best, keep = in_sequence(best, len(task.ring)), _KEEP * task.limit_mm
    for tidied in (with_whole_lines, without_small):
        trial = await tidied(best, task.ring, keep)
        best = trial if trial is best or _holds(trial, task) else best
    found = [best, *await _smooth(best, task)] if joins == "smooth" else [best]
    return next(one for one in reversed(found) if one is best or _holds(one, task)).path()


async def _smooth(draft: Draft, task: Task) -> list[Draft]:
    """Return the draft with ever fewer kinks."""
    keep = _KEEP * task.limit_mm
    smooth = await rounded(draft, task.ring, keep)
    if smooth is not draft:
        smooth = clipped(smooth, task.ring, keep)
    given = np.isin(smooth.breaks % len(task.ring), draft.breaks[draft.fixed] % len(task.ring))
    if not has_kinks(replace(smooth, fixed=given), keep):
        return [smooth]
    calm = calmed(task)
    scene = Scene(task.ring, keep, task.noise_mm, calm.ring, _KEEP * calm.limit_mm)
    return [smooth, await without_kinks(draft, smooth, scene)]


def _rank(draft: Draft, ring: FloatArray) -> tuple[int, float]:
    """Fewest pieces first, then the least sum of squares."""
    return len(draft.breaks), float(np.sum(offsets(draft, ring) ** 2))


def _holds(draft: Draft, task: Task) -> bool:
    """Check both distances, that each piece has a length, and that the path does not cross itself.

    By means that the fit does not use; once for each draft and task.
    """
    known: tuple[Task, bool] | None = draft.__dict__.get(_HOLDS)
    if known is None or known[0] is not task:
        known = draft.__dict__[_HOLDS] = (task, _checked(draft, task))
    return known[1]


def _checked(draft: Draft, task: Task) -> bool:
    if draft.lengths.min() < _SHORTEST_MM:
        return False
    path = draft.path()
    return _keeps(path, draft.breaks, task) and is_simple(path, task.tolerance_mm)


def _keeps(path: Path, breaks: IntArray, task: Task) -> bool:
    """Check both distances of a path whose pieces answer for points about `breaks`: by bounds, else themselves."""
    if keeps_within(path, breaks, task.ring, task.limit_mm):
        return True
    away, back = distances_both_ways(path, task.ring, step_mm=_STEP_MM)
    return bool(np.all(away <= task.limit_mm) and back.max() <= task.limit_mm.max())


def is_simple(path: Path, tolerance_mm: float) -> bool:
    """Check that a path does not cross itself, nor run there and back; about needles' tips to a nanometre."""
    import shapely

    outline = curve_ring(path, chord_mm=tolerance_mm / 20)  # two lines there and back are none
    if len(outline) < 3 or not shapely.is_valid(shapely.polygons(outline)):
        return False
    tips = np.flatnonzero(np.abs(path_kinks(path)) > _THERE_AND_BACK).tolist()
    return all(_is_simple_about(path, tip) for tip in tips)


def _is_simple_about(path: Path, vertex: int) -> bool:
    """Check the pieces about a needle's tip, which chords that serve elsewhere do not tell apart."""
    import shapely

    count = len(path.bulges)
    near = (vertex - _ABOUT_TIP + np.arange(min(count, 2 * _ABOUT_TIP + 1))) % count
    bulges = path.bulges[near].copy()
    bulges[-1] = 0.0  # from the last back to the first: not looked at
    fine = curve_ring(make_path(path.points_mm[near], bulges), chord_mm=_TIP_MM)
    return bool(shapely.is_simple(shapely.linestrings(fine)))


def _thinned(ring: FloatArray, tolerance: float) -> Path:
    import shapely

    thin = shapely.simplify(shapely.polygons(ring), _KEEP * tolerance, preserve_topology=True)
    points = shapely.get_coordinates(thin)[:-1]
    return make_path(points, np.zeros(len(points)))


async def _drafted(task: Task, breaks: IntArray) -> Draft:
    return await polish(first_draft(task.ring, breaks, task.corners), task.ring, ROUGH)


def _free(draft: Draft, task: Task) -> bool:
    """Tell whether most of the ring is neither line nor arc: what is left of it there is no noise."""
    rms, _, count = spread(draft, task.ring, task.limit_mm)
    filled = count > 0
    averaged = in_order(draft, task.limit_mm <= task.limit_mm.min())
    noise = np.zeros(len(count))
    first = (np.cumsum(count) - count)[filled]
    noise[filled] = np.add.reduceat(np.where(averaged, task.noise_mm, task.sd_mm) ** 2, first) / count[filled]
    misfit = rms**2 - noise > (_MISFIT * task.tolerance_mm) ** 2
    return 2 * int(count[misfit].sum()) > len(task.ring)


async def _fitted(task: Task, *, all_tangent: bool) -> tuple[Draft | None, int]:
    """Search with the tolerance stretched first, as least squares is not the last word; then as it is.

    Returns the draft, and how many of its pieces only cut a spike off.
    """
    ring, keep = task.ring, _KEEP * task.limit_mm
    calm = calmed(task)
    found = candidates(calm)
    for slack in (SLACK, 1.0):
        breaks = await find_breaks(calm, found, slack)
        draft = await _drafted(task, breaks)
        if all_tangent and slack > 1 and _free(draft, task):
            smooth = await tangent_all(draft, ring, keep, partial(_closer, task, calm, found))
            final = None if smooth is None else blunted(smooth, ring, keep)
            if final is not None and _holds(final, task):
                return final, 0
        most = _most(len(breaks)) if slack > 1 else len(ring) // 4
        final, cut = await _finished(task, draft, keep, most, lines=slack == 1.0)
        if final is not None:
            return final, cut
    return None, 0


async def _closer(task: Task, calm: Task, found: Candidates, share: float) -> Draft:
    """Return a draft at so much of the tolerance that the first one is searched at."""
    return await _drafted(task, await find_breaks(calm, found, share * SLACK))


async def _begun(task: Task, known: Draft) -> tuple[Draft | None, int]:
    """Return what becomes of a known path, or of a draft with its joints, as `_fitted` does."""
    keep = _KEEP * task.limit_mm
    as_known = await fitted_as_known(known, task.ring, keep, task.flat)
    if as_known is not None:
        return blunted(as_known, task.ring, keep), 0
    breaks = known.breaks % len(task.ring)
    return await _finished(task, await _drafted(task, np.sort(breaks)), keep, _most(len(breaks)))


def _most(pieces: int) -> int:
    return pieces + 1 + pieces // _SPARE_PIECES


async def _finished(
    task: Task, draft: Draft, keep: FloatArray, most: int, *, lines: bool = False
) -> tuple[Draft | None, int]:
    """Bring a draft within its limits by at most so many pieces; tell how many of them only cut a spike off.

    With `lines`, straight lines through the ring's own points stand where pieces are too short to be divided.
    """
    ring = task.ring
    if task.noisy:
        draft = await polish(draft, ring, Goal(every_point=True))
    whole = await repaired(draft, ring, keep, flat=task.flat, most=most)
    if whole is None:
        return None, 0
    stuck = bool(spread(whole, ring, keep)[1].max() > 1)
    if stuck and not lines:
        return None, 0
    settled = await without_vast(await _settled(await smoothed(whole, ring, keep), task, keep), ring, keep)
    if stuck:
        return lined(along_vast(settled, keep), ring, keep), 0
    final = along_vast(blunted(settled, ring, keep), keep)
    return final, len(final.breaks) - len(settled.breaks)


async def _settled(draft: Draft, task: Task, keep: FloatArray) -> Draft:
    """Fit once more to every point, if least squares keeps the limit; not where it had to be levelled for that."""
    if spread(draft, task.ring, keep)[1].max() > _LEVELLED and not task.noisy:
        return draft
    goal = Goal(every_point=True)
    final = await straightened(await polish(draft, task.ring, goal), task.ring, keep, task.flat, goal)
    return final if spread(final, task.ring, keep)[1].max() <= 1 else draft
