"""What is said of items: whether they are there and whole, and how they were laid."""

from __future__ import annotations

from .message import Message, Rank

OF_ITEMS = (
    Message(
        code="item-failed",
        rank=Rank.WHOLE,
        title="No outline",
        text="What lies at {x:.0f},{y:.0f} px ({wide:.0f} x {high:.0f} px) got no outline and no file: {why}",
        together="{who} got no outline and no file: their edges could not be followed.",
        step=(
            "Lay it inward, clean, flat and apart on paper of another colour, and scan again; or draw its border by "
            "hand: digitize review."
        ),
        photo_step=(
            "Lay it inward, clean, flat and apart on ground of another colour, and take the photo again; or draw "
            "its border: digitize review."
        ),
    ),
    Message(
        code="hole-left-out",
        rank=Rank.WHOLE,
        title="Hole left out",
        text=(
            "A hole or speck of {wide:.0f} x {high:.0f} px at {x:.0f},{y:.0f} px has no edge of its own that can be "
            "followed; it was left out."
        ),
        together="A hole or speck whose edge cannot be followed was left out: {who}.",
        step="If it is a hole, lay paper of another colour behind it, and scan again.",
        photo_step="If it is a hole, lay it over ground of another colour, go nearer, and take the photo again.",
    ),
    Message(
        code="perhaps-hole",
        rank=Rank.WHOLE,
        title="Perhaps a hole",
        text="{patches} {value:.1f} mm across, about as dark as the item: taken for print, may be a hole.",
        together="Round patches, up to {value:.1f} mm across, taken for print, may be holes: {who}.",
        step="If it is a hole, lay a sheet of another colour behind the item, and scan again.",
        photo_step=(
            "If it is a hole, lay the item on ground of another colour, light it evenly, and take the photo again."
        ),
    ),
    Message(
        code="perhaps-print",
        rank=Rank.WHOLE,
        title="Perhaps print",
        text=(
            "A hole {value:.1f} mm across shows something {darker:.0f} % darker than the lid: taken for a hole, may be "
            "print on the item."
        ),
        together="Holes that show something darker than the lid, up to {value:.1f} mm across, may be print: {who}.",
        step="If it is print, lay a sheet of another colour behind the item, and scan again.",
        photo_step="If it is print, lay the item on ground of another colour, and take the photo again.",
    ),
    Message(
        code="paper-at-edge",
        rank=Rank.WHOLE,
        title="Paper at the edge",
        text=(
            "It lies across the edge of a paper that runs out of the picture: {value:.0f} mm2 as light as that paper, "
            "with an edge of their own, were taken for paper and not for a part of the item."
        ),
        together="Paper lies under the edge, up to {value:.0f} mm2 of it were left out of the item: {who}.",
        step="See on the check picture that nothing of the item is missing; lay it clear of the paper's edge, else.",
    ),
    Message(
        code="hole-hidden",
        rank=Rank.SHAPE,
        title="Hole half hidden",
        text="Its own wall hides much of a hole about {value:.1f} mm across: what joins its two sides is a guess.",
        together="Holes up to {value:.1f} mm across, half hidden by their own walls, are partly guesses: {who}.",
        step="Hold the camera straight above the holes, farther away, and take the photo again.",
        cases={
            "round": (
                "Its own wall hides much of a hole: it was taken as round, {value:.2f} mm across, as both its sides "
                "are."
            ),
        },
    ),
    Message(
        code="left-out",
        rank=Rank.WHOLE,
        title="Left out",
        text="Left out as no items: {kinds}. The largest{inward} is at {x:.0f},{y:.0f} px, {area:.0f} mm2.",
        step="If one is an item, point at it: --item-at X,Y.",
    ),
    Message(
        code="face-and-cut",
        rank=Rank.REMARK,
        title="Which side is up",
        text="Picture and cut see the same side: nothing is exchanged.",
        step="Lay one blank into the first pocket, its print face up, before cutting the others.",
        cases={
            "back front": (
                "The picture shows the back of the items, the plate is cut with its front up: left and right are "
                "exchanged in every file, so that the printed face comes up."
            ),
            "print back": (
                "The plate is cut with its back up: left and right are exchanged in every file, PRINT among them. For "
                "the artwork run once more without --cut-from back."
            ),
            "back back": (
                "The picture shows the back of the items and the plate is cut with its back up: both exchanges "
                "together leave all as in the picture, PRINT is seen from behind. For the artwork run once more "
                "without --cut-from back."
            ),
        },
    ),
    Message(
        code="set-upright",
        rank=Rank.REMARK,
        title="Turned upright",
        text="The item was turned by {value:.2f} degrees {way} from how it lay, in every file.",
        together="Turned upright, by up to {value:.2f} degrees from how they lay, in every file: {who}.",
        step="Nothing to do; do without --upright to have it as it lay.",
        cases={"round": "The item reads the same between calipers in every direction: it stays as it lay."},
    ),
    Message(
        code="upright-rows",
        rank=Rank.REMARK,
        title="Laid in rows",
        text=(
            "Turned upright, items would come nearer than {limit:g} mm to one another: they lie in rows in reading "
            "order, not as in the picture."
        ),
        step="Nothing to do; for a file each say --separate.",
    ),
    Message(
        code="edges-close",
        rank=Rank.DETAIL,
        title="Edges close together",
        text=(
            "Two stretches of the edge lie nearer together than lines and arcs of {tolerance:g} mm could keep apart: "
            "they were drawn more closely, with more of them."
        ),
        together="Stretches of an edge lie very near together and were drawn more closely: {who}.",
        step="Nothing to do.",
    ),
    Message(
        code="cut-by-border",
        rank=Rank.WHOLE,
        title="Cut by the border",
        text="The item touches the border of the picture or of its sheet: part of its outline is missing.",
        together="Part of the outline is missing of {who}: the border of the picture or of the sheet cuts it.",
        step="Lay the whole item inside the scanned area, and scan again.",
        photo_step="Have the whole item in view, with ground all round it, and take the photo again.",
    ),
    Message(
        code="left-out-at-border",
        rank=Rank.WHOLE,
        title="Left out at the border",
        text="{things} out of the photo or off the sheet {were} left out: not whole, or shade.",
        step=(
            "If an item is among them, move it inward on evenly lit paper of one colour, or point at it: --item-at X,Y."
        ),
    ),
    Message(
        code="left-out-crisp",
        rank=Rank.WHOLE,
        title="Pale patch left out",
        text=(
            "Beside an item a patch of {value:.0f} mm2 at {x:.0f},{y:.0f} px was taken for its shade and left out, and "
            "has a clean edge as no shade has: it may be a pale part of the item."
        ),
        step="Look at the check picture; if it is of the item, lay a sheet of another colour behind, and scan again.",
        photo_step=(
            "Look at the check picture; if it is of the item, lay it on ground of another colour, and take the "
            "photo again."
        ),
    ),
    Message(
        code="left-out-without-edge",
        rank=Rank.WHOLE,
        title="Left out, no clear edge",
        text="{things} without a clear edge {were} left out: shade, glare or the ground's texture.",
        together="{who} without a clear edge were left out: shade, glare or the ground's texture.",
        step=(
            "If an item is among them, lay it on plain paper of another colour, or say the paper's: --background light."
        ),
    ),
    Message(
        code="left-out-as-lines",
        rank=Rank.WHOLE,
        title="Left out, lines",
        text=(
            "{things} made of lines under {wide:g} mm wide and without a hue {were} left out, at {x:.0f},{y:.0f} px: "
            "writing, print or a reflection."
        ),
        step="If one is an item, point at it: --item-at X,Y.",
    ),
    Message(
        code="left-out-too-small",
        rank=Rank.REMARK,
        title="Left out as too small",
        text=(
            "{things} {were} left out as too small: an item is {least_mm:g} mm long and {least_mm2:g} mm2 large "
            "at least. With --dust {dust:g} they count."
        ),
        step="If an item is among them, run again with that --dust.",
    ),
    Message(
        code="too-many-items",
        rank=Rank.WHOLE,
        title="Too many patches",
        text="{value:.0f} patches of the photo may be items; only the {limit:.0f} largest were outlined.",
        step="Lay the item on plain, clean paper, or point at it: --item-at X,Y.",
    ),
    Message(
        code="touches-card",
        rank=Rank.WHOLE,
        title="Touches the card",
        text="The item touches the reference or lies over its sheet: its outline there is not its own.",
        together="The outline is not its own where the reference or its sheet is touched: {who}.",
        step="Move the item away from the card, and take the picture again.",
    ),
    Message(
        code="perhaps-two-items",
        rank=Rank.WHOLE,
        title="Perhaps two items",
        text="Perhaps two items that touch.",
        together="Perhaps two items that touch: {who}.",
        step="If so, lay them apart and take the picture again; if it is one item, go on.",
        cases={
            "corners": "Perhaps two items that touch: two sharp inner corners face each other, {value:.1f} mm apart.",
            "bays": "Perhaps two items that touch: two bays face each other, {value:.1f} mm apart.",
            "colours": (
                "Perhaps two items that touch: two pieces of different colour lie side by side (about {first:.0f} and "
                "{second:.0f} mm2)."
            ),
        },
    ),
    Message(
        code="things-in-hole",
        rank=Rank.WHOLE,
        title="Things in a hole",
        text=(
            "{value:.0f} things lie in holes of the item and were outlined by themselves: perhaps they are print, and "
            "what was taken for a hole is a label, or a blank field, as pale as the ground."
        ),
        together="Things lie in their holes, or print on labels as pale as the ground was taken for holes: {who}.",
        step="If it is print, lay a sheet of another colour behind, and scan again; if the things lie there, go on.",
        photo_step="If it is print, lay it on ground of another colour, and photograph again; if not, go on.",
        cases={
            "one": (
                "A thing lies in a hole of the item and was outlined by itself: perhaps it is print, and what was "
                "taken for a hole is a label, or a blank field, as pale as the ground."
            ),
        },
    ),
    Message(
        code="background-unlike-rim",
        rank=Rank.WHOLE,
        title="Background doubtful",
        text=(
            "{name} was taken, but {percent:.0f} % of the picture's rim has another colour, mostly {rest}: the items "
            "may be holes, seen inside out."
        ),
        step="Leave --background out, or say the rim's colour; if the items lie on a sheet of that colour, go on.",
    ),
    Message(
        code="lid-goes-on",
        rank=Rank.WHOLE,
        title="Lid of two lights",
        text=(
            "What stood out first was a large part of the picture, runs out of it on three sides and has the lid's "
            "hue: it was taken for the lid going on, in another light, and what lies on it was outlined."
        ),
        step=(
            "See on the check picture that the items are yours; a darker scan, in which the lid is not clipped white, "
            "leaves no doubt."
        ),
    ),
    Message(
        code="things-on-sheet",
        rank=Rank.WHOLE,
        title="Things on a sheet",
        text=(
            "A sheet, or the lid in its frame, fills most of the picture, and {value:.0f} things lie on it: they were "
            "outlined, it was not."
        ),
        cases={
            "one": (
                "A sheet, or the lid in its frame, fills most of the picture, and one thing lies on it: that was "
                "outlined, the sheet was not."
            )
        },
        step="If the large thing is the item, print and all, say --item-at with a place on it.",
    ),
    Message(
        code="perhaps-sheet",
        rank=Rank.WHOLE,
        title="Perhaps a sheet",
        text=(
            "What was outlined fills most of the picture, and {value:.0f} things with clean edges lie on it, or are "
            "holes in it: it may be a sheet, or the lid in its frame."
        ),
        cases={
            "one": (
                "What was outlined fills most of the picture, and a thing with clean edges lies on it, or is a hole in "
                "it: it may be a sheet, or the lid in its frame."
            )
        },
        step="If the things on it are meant, cut the picture off inside the sheet's edge, or say --item-at.",
    ),
)
