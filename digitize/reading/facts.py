"""What stands in a file beside its pixels: density, orientation, camera, gamma, number of pages."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ..records import CameraTag, Finding
from ..words.say import finding_of
from .density import Claim
from .exif import read_exif


@dataclass(frozen=True, slots=True)
class Facts:
    """The facts of one file, as stored (nothing turned yet)."""

    claims: tuple[Claim, ...] = ()  # of density, the first to be believed first
    orientation: int = 1  # EXIF, 1 to 8
    camera: CameraTag | None = None
    gamma: float | None = None  # exponent from code to light, if the file gives one and no profile
    extra_is_alpha: bool = True  # False: a TIFF's further channel is of unspecified meaning
    # JPEG: in what steps the brightness and the colour of a block are told, codes
    block_steps: tuple[float, float] = (0.0, 0.0)
    findings: tuple[Finding, ...] = ()


def with_exif(facts: Facts, block: bytes | None) -> Facts:
    """Return `facts` with those of an EXIF block added."""
    if not block:
        return facts
    try:
        exif = read_exif(block)
    except ValueError:
        remark = finding_of("exif-ignored", attention=False)
        return replace(facts, findings=(*facts.findings, remark))
    claims = facts.claims if exif.claim is None else (*facts.claims, exif.claim)
    return replace(facts, claims=claims, orientation=exif.orientation, camera=exif.camera)


def first_of(count: int, what: str) -> tuple[Finding, ...]:
    """Return the finding that only the first of `count` pages (frames, pictures) was read; none for one."""
    if count <= 1:
        return ()
    return (finding_of("first-page-only", value=float(count), limit=1.0, what=what),)
