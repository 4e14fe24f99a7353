"""What the drawings of a plate say beside their lines."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from ...plate.artwork import Fit
from ...plate.centres import WORDS as CENTRE_WORDS
from ...plate.heights import height_words
from ...plate.plate import Plate, Zero
from ...plate.printer import Printer
from ...plate.unrolled import Wall
from ...records import Item
from ...seal import __version__
from ..artwork.place import Placed
from ..cautions import GOVERNS, OPEN_IN_MM, UV_PRINT
from ..words import cautions, chain, plain, pocket_notes
from .exchange import EXCHANGED


def zero_words(zero: Zero, bed_mm: tuple[float, float]) -> str:
    """Return which corner is zero and what that means for the numbers."""
    beyond = [
        *(["x"] if zero.endswith("right") else []),
        *(["y"] if zero.startswith("top") else []),
    ]
    below = f" On the bed {' and '.join(beyond)} {'is' if len(beyond) == 1 else 'are'} 0 or less." if beyond else ""
    return (
        f"Bed {bed_mm[0]:g} x {bed_mm[1]:g} mm. Zero: {zero.replace('-', ' ')} corner of the bed, x right, y up.{below}"
    )


def heading(plate: Plate, what: str) -> str:
    """Return the title of a drawing."""
    return f"{what}: {plain(plate.name)}"


def counted(plate: Plate) -> str:
    """Return how many pockets there are of each kind: "12 tag-1, 3 fob"."""
    counts = Counter(place.kind for place in plate.places)
    return ", ".join(f"{count} {plain(kind)}" for kind, count in counts.items())


def plate_words(plate: Plate, mark: str, *, exchanged: bool = False) -> list[str]:
    """Return what stands on every drawing of a plate: what it is, where zero lies, and by what they belong together."""
    thick = f", sheet {plate.thickness_mm:g} mm thick" if plate.thickness_mm is not None else ""
    size = f"Plate {plate.size_mm[0]:g} x {plate.size_mm[1]:g} mm{thick}; {counted(plate)}."
    label = [f"{' / '.join(map(plain, plate.label))}."] if plate.label else []
    return [
        size,
        *label,
        zero_words(EXCHANGED[plate.zero] if exchanged else plate.zero, plate.bed_mm),
        f"Mark {mark}: cut drawing, draft sheet and template that belong together bear the same.",
        _faces(plate, exchanged=exchanged),
        *_key_words(plate),
        *map(plain, height_words(plate)),
    ]


def _key_words(plate: Plate) -> list[str]:
    if plate.corner is None:
        return []
    key = "" if plate.corner.key_mm is None else " Its tongue goes into the notch; a plate put in turned stands off."
    return [f"Push the plate into the corner piece at zero, against both arms.{key}"]


def corner_words(plate: Plate, mark: str) -> list[str]:
    """Return the notes of the corner piece."""
    return [
        OPEN_IN_MM,
        *plate_words(plate, mark),
        "Cut the layer POCKET. Fix the piece to the bed so that its inner edges are the two axes through zero; the "
        "corner between them is relieved. Keep it lower than the faces to print.",
        *cautions(items_of(plate), printed=True),
        _written(),
    ]


def _centre_words(plate: Plate) -> list[str]:
    return [] if plate.centres is None else [f"Crosses mark {CENTRE_WORDS[plate.centres]}."]


def _faces(plate: Plate, *, exchanged: bool) -> str:
    if exchanged:
        return (
            "Seen from the BACK of the plate: left and right are exchanged against draft sheet and template. Cut with "
            "the back up, then turn it over. Front: the lower edge."
        )
    also = " The cut drawing is seen from the back, left and right exchanged." if plate.cut_from == "back" else ""
    return f"Top: the face you see, the print face; not mirrored.{also} Front: the lower edge."


def cut_words(plate: Plate, mark: str, *, sweep_mm: float = 0.0) -> list[str]:
    """Return the notes of the cut drawing; beam or cutter take away `sweep_mm` about the plate's own edge."""
    items = items_of(plate)
    return [
        OPEN_IN_MM,
        *plate_words(plate, mark, exchanged=plate.cut_from == "back"),
        f"Cut the layer POCKET, in the order of the file: {_order(plate)}. OUTLINE is the item itself.",
        *_edge(plate, sweep_mm),
        *(f"{plain(item.name)}: {chain(item.pocket)}" for item in items if item.pocket is not None),
        *(plain(note) for note in pocket_notes(items)),
        *cautions(items, printed=True),
        _written(),
    ]


def draft_words(plate: Plate, mark: str) -> list[str]:
    """Return the notes of the draft sheet."""
    return [
        "Draft sheet: print it at 100 % on film or paper, measure the bar, lay the items on their outlines.",
        *plate_words(plate, mark),
        *_centre_words(plate),
        *cautions(items_of(plate), printed=True),
        _written(),
    ]


def template_words(plate: Plate, mark: str, more: Sequence[str] = ()) -> list[str]:
    """Return the notes of the template."""
    return [
        "Template: the page is the bed. Print at 100 %, no fit to page. PRINT is where artwork goes; these lines do "
        "not print.",
        *plate_words(plate, mark),
        *_centre_words(plate),
        *more,
        *cautions(items_of(plate), printed=True),
        _written(),
    ]


def raised_words(plate: Plate, mark: str, wide_mm: float, gap_mm: float) -> list[str]:
    """Return what is said of raised edges."""
    return [
        f"Raised edge: bands {wide_mm:g} mm wide, {gap_mm:g} mm outside each outline, for a clear or white layer, "
        "printed in as many passes as make them as high as they should be. Measure that height against the head "
        "before printing over items.",
        *plate_words(plate, mark),
        *cautions(items_of(plate), printed=True),
        _written(),
    ]


def art_words(placed: Sequence[Placed], fit: Fit) -> list[str]:
    """Return what artwork the template holds, and how large."""
    how = {"size": "at its own size", "cover": "scaled to cover the print area", "inside": "scaled to lie inside it"}
    return [
        f"{plain(one.art.name)} on {len(one.spots)} items, {how[fit]}: {one.on_item.width:.2f} x "
        f"{one.on_item.height:.2f} mm."
        for one in placed
    ]


def grid_words(bed_mm: tuple[float, float], zero: Zero, step_mm: float) -> list[str]:
    """Return the notes of the grid."""
    return [
        f"Grid of {step_mm:g} mm. Print it on the bed at 100 % and measure 100 mm both ways: they must be 100.0.",
        zero_words(zero, bed_mm),
        UV_PRINT,
        GOVERNS,
        _written(),
    ]


def cross_words(bed_mm: tuple[float, float], zero: Zero) -> list[str]:
    """Return the notes of a printer's test sheet."""
    return [
        "Test sheet: print it on the bed at 100 %, no fit to page, with the settings you will print with. Measure how "
        "far each cross lies from its place, right and up positive.",
        zero_words(zero, bed_mm),
        UV_PRINT,
        GOVERNS,
        _written(),
    ]


def wall_words(wall: Wall) -> list[str]:
    """Return the notes of an unrolled wall."""
    lower, upper = wall.ends_mm
    what = f"Cone, diameters {lower:g} (below) and {upper:g} mm" if wall.is_cone else f"Cylinder, diameter {lower:g} mm"
    thick = f", half the sheet of {wall.sheet_mm:g} mm added all round" if wall.sheet_mm else ""
    return [
        "Print at 100 %, measure the bar. PRINT is the wall from seam to seam: both ends of it meet. OUTLINE is "
        f"the sheet to cut out; it runs on {wall.overlap_mm:g} mm past the right-hand seam, to go under the other end.",
        f"{what}{thick}, {wall.along_mm:g} mm along the wall.",
        f"Round: {math.pi * lower:.2f} mm below, {math.pi * upper:.2f} mm above.",
        "Seen from outside, the lower end below. Lines mark a quarter, half and three quarters of the way round.",
        UV_PRINT,
        GOVERNS,
        _written(),
    ]


def printer_words(printer: Printer) -> str:
    """Return what a template says that is corrected for a printer."""
    return (
        f"CORRECTED for the printer {plain(printer.name)} and for no other: {printer.words()}. The drawing undoes "
        "it, so nothing on this page measures true but what that printer prints."
    )


def items_of(plate: Plate) -> list[Item]:
    """Return the items of all kinds."""
    return [kind.item for kind in plate.kinds]


def _edge(plate: Plate, sweep_mm: float) -> list[str]:
    if not (plate.is_cut_out and sweep_mm):
        return []
    return [
        f"The plate's edge is cut {sweep_mm / 2:g} mm outside it, also along the two sides at zero: lay the sheet that "
        "far beyond the cutter's zero at least."
    ]


def _order(plate: Plate) -> str:
    parts = ["holes"] if plate.holes else []
    return ", ".join([*parts, "pockets", *(["the plate's edge last"] if plate.is_cut_out else [])])


def _written() -> str:
    return f"Written by digitize {__version__}."
