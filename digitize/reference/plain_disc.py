"""Scale of a scan by a round disc of known diameter: what may be one, which is meant, and what it gives.

A flatbed makes an ellipse of a circle, and of all affine maps that keep its rows along x only one makes it round again:
the disc tells both scales and the skew. That it is round itself cannot be seen beside them, and is in the budget.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..errors import ScaleError
from ..measure.profiles import SHADE_PX
from ..reading.reduced import Reduced
from ..records import Contribution, Density, Finding, FloatArray, Picture, ReferenceEdge, eight_bit
from ..settings import Pair, Settings
from ..steady import norm
from ..words.say import finding_of
from .clean import unclean_side
from .disc_fit import EIGHTHS, SECTORS, FittedDisc, fit_disc
from .disc_refusals import disc_not_there, no_disc, several_discs
from .on_glass import scale_of_scan
from .round import Round, find_rounds
from .scale import AXES_AGREE, MAX_AXIS_RATIO, MAX_SKEW_DEG, SURE_AXIS_RATIO, Flat

_LEAST_RADIUS_PX = 12.0  # as large as the least square: of smaller ones blur and form cannot be told apart
_LEAST_SUPPORT = 0.75  # part of the way round that must lie on the ellipse
_WHOLE = 0.95  # part that does of a disc that nothing lies at
_LIKE_OTHERS = 0.4  # contrast of the weakest eighth of the edge over the strongest: below, something lies at it
_SURELY_LIKE = 0.75  # below, it may
_MOST_BESIDE = 0.02  # of the contrast: rendered edges have 0.002, with a bright chamfer of 2 px 0.02 or more
_LEAST_CONTRAST = 0.02  # of linear light, full 1
_MOST_FORM = 0.0025  # of the diameter, root mean square: a disc of 25 mm that strays by 0.06 mm is none
_PARTS = {  # what the budget's lines of a card are called of a disc
    "card reading": ("disc reading", "diameter measured with calipers"),
    "corner fit": ("disc edge fit", ""),
    "card flatness": ("disc roundness", "what a circle misses"),
}


@dataclass(frozen=True, slots=True)
class Disc:
    """A round thing seen in the reduced picture, and its edge as fitted."""

    seen: Round
    fit: FittedDisc

    @property
    def diameters_px(self) -> Pair:
        """Along the picture's rows and along its columns."""
        x, y = self.fit.radii_px
        return 2 * x, 2 * y


def locate_disc(
    picture: Picture, reduced: Reduced, settings: Settings, diameter_mm: float, density: Density | None
) -> Flat:
    """Scale from the one disc that can be the reference.

    Raises
    ------
    ScaleError
        If there is none, or several may be meant; the message says what was seen and how to go on.
    """
    rounds = find_rounds(eight_bit(reduced.codes), reduced.factor)
    looked_at = [(one, _looked_at(picture, reduced, one, density)) for one in rounds]
    discs = [disc for _, disc in looked_at if isinstance(disc, Disc)]
    refused = [(one, why) for one, why in looked_at if isinstance(why, str)]
    at = settings.square_at_px
    meant = discs if at is None else [one for one in discs if norm(one.fit.centre_px - at) <= max(one.fit.radii_px)]
    if len(meant) > 1:
        raise ScaleError(several_discs(_told(meant), density), squares_px=_middles(meant))
    if meant:
        return _located(meant[0], diameter_mm, settings)
    if at is not None and discs:
        raise ScaleError(disc_not_there(at, _told(discs), density), squares_px=_middles(discs))
    raise ScaleError(no_disc([(one.centre_px, 2 * one.radius_px, why) for one, why in refused], diameter_mm))


def _told(discs: list[Disc]) -> list[tuple[FloatArray, Pair]]:
    return [(one.fit.centre_px, one.diameters_px) for one in discs]


def _middles(discs: list[Disc]) -> tuple[Pair, ...]:
    return tuple((float(one.fit.centre_px[0]), float(one.fit.centre_px[1])) for one in discs)


def _looked_at(picture: Picture, reduced: Reduced, one: Round, density: Density | None) -> Disc | str:
    """Fit a round thing at full resolution; in words what is wrong with it when it is no disc to measure by."""
    if one.is_cut:
        return "is cut by the picture's border"
    if one.radius_px < _LEAST_RADIUS_PX:
        return f"is too small: scan it so that it is at least {2 * _LEAST_RADIUS_PX:.0f} px across"
    try:
        fit = fit_disc(picture, one.centre_px, one.radius_px, reach=2 * reduced.factor + 6)
    except ValueError:
        return "shows no clear edge"
    x, y = fit.radii_px
    ratio = max(x / y, y / x)
    askew_deg = math.degrees(math.atan(float(fit.shape[0, 1] / fit.shape[1, 1])))
    confirmed = density is not None and abs(density.y_px_per_mm / density.x_px_per_mm * x / y - 1) < AXES_AGREE
    if abs(askew_deg) > MAX_SKEW_DEG:
        return "is oval, aslant to the picture's rows"
    if ratio > MAX_AXIS_RATIO or (ratio > SURE_AXIS_RATIO and not confirmed):
        return f"is oval: {100 * (ratio - 1):.1f} % longer one way than the other, more than scanners differ by"
    if fit.contrast < _LEAST_CONTRAST:
        return "hardly differs from its background"
    if fit.evenness < _LIKE_OTHERS:
        return "is touched or covered along its edge by an item or a shadow of nearly its colour"
    if fit.support < _LEAST_SUPPORT:
        return "has a broken or covered edge"
    if fit.form_part > 2 * _MOST_FORM:
        return f"is not round: its edge strays by {100 * fit.form_part / 2:.2f} % of its diameter"
    return Disc(one, fit)


def _located(disc: Disc, diameter_mm: float, settings: Settings) -> Flat:
    fit = disc.fit
    seen = np.isfinite(fit.off)
    turns = 2 * np.pi * (np.arange(SECTORS)[seen] + 0.5) / SECTORS
    px = fit.centre_px + (fit.edge_px(turns) - fit.centre_px) * (1 + fit.off[seen, None])
    mm = 0.5 * diameter_mm * np.stack([np.cos(turns), -np.sin(turns)], axis=1)
    (x, y), (a, b) = fit.centre_px.tolist(), fit.radii_px
    box = np.array([(x - a, y - b), (x + a, y - b), (x + a, y + b), (x - a, y + b)])
    estimate = scale_of_scan(
        settings.scanner,
        px,
        mm,
        side_mm=diameter_mm,
        # as of a square's corners, what places all round leave of an axis' scale; neighbours share pixels
        point_sd_px=fit.sd_px * math.sqrt(6.0 / max(fit.places / 2.0, 6.0)),
        caliper_sd_mm=settings.caliper_sd_mm,
        reference=f"round disc {diameter_mm:g} mm",
        measured=True,
        shown_corners_px=box,
    )
    named = (_PARTS.get(line.name) for line in estimate.budget)
    budget = tuple(
        line if to is None else replace(line, name=to[0], note=to[1])
        for line, to in zip(estimate.budget, named, strict=True)
    )
    shade = 2 * SHADE_PX * fit.shade / sum(fit.radii_px)
    if shade:
        note = "light that changes beside its edge"
        budget = (*budget, Contribution("disc shade", length_per_mm=shade, note=note, acts="with length"))
    edge = ReferenceEdge(diameter_mm, fit.light, fit.blur_px, fit.sharpened)
    eighths = fit.edge_px(2 * np.pi * (np.arange(EIGHTHS) + 0.5) / EIGHTHS)
    beside = unclean_side(fit.rest, fit.blur_px, eighths, across_px=sum(fit.radii_px))
    budget, doubts = (*budget, *beside.budget), _doubts(disc)
    if not any(one.code == "disc-edge" for one in doubts):
        doubts += beside.said
    findings = (*doubts, *estimate.findings)
    every = fit.edge_px(2 * np.pi * np.arange(SECTORS) / SECTORS)
    return Flat(replace(estimate, budget=budget, findings=findings, blur_px=fit.blur_px, edge=edge), (every,))


def _doubts(disc: Disc) -> tuple[Finding, ...]:
    """What makes a disc that can be measured doubtful: a stretch of its edge not seen, a rim or a shade all round."""
    fit, findings = disc.fit, []
    x, y = fit.centre_px.tolist()
    if fit.support < _WHOLE:
        findings.append(finding_of("reference-covered", value=fit.support, limit=_WHOLE, place_px=(x, y), x=x, y=y))
    if fit.evenness < _SURELY_LIKE or fit.beside > _MOST_BESIDE:
        findings.append(finding_of("disc-edge", value=fit.beside, limit=_MOST_BESIDE, place_px=(x, y), x=x, y=y))
    return tuple(findings)
