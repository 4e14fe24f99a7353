"""What is said of items: whether they are there, whole, and where their edges lie."""

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
        code="edge-smoothed",
        rank=Rank.WHOLE,
        title="Edge smoothed",
        text=(
            "The edge was too tangled to be followed: what was narrower than {value:g} mm was smoothed away first, and "
            "pale places of the item may be missing."
        ),
        together="The edge was too tangled to be followed, and smoothed over {value:g} mm first: {who}.",
        step="Look whether all of the item is within its outline; lay paper of another colour behind, and scan again.",
        photo_step=(
            "Look whether all of it is within its outline; lay it on ground of another colour, evenly lit, and "
            "take the photo again."
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
        code="by-hand",
        rank=Rank.REMARK,
        title="Drawn by hand",
        text=(
            "{long:.1f} mm of the edge ({part:.1f} %) lie where a hand set them, up to {value:.2f} mm from where they "
            "were measured: ±{sure:.3f} mm of that is in the stated figure."
        ),
        together="Some of the edge lies where a hand set it, up to {value:.2f} mm from where it was measured: {who}.",
        step="Hold a blank against a paper proof at those places.",
        cases={
            "drawn": (
                "A hand drew the item's border: {on_edge:.0f} % of it lies on an edge in the picture, ±{sure:.3f} mm "
                "of that is in the stated figure."
            ),
        },
    ),
    Message(
        code="by-hand-item",
        rank=Rank.REMARK,
        title="Taken by hand",
        text="It was left out ({why}) and taken for an item by hand.",
        together="Left out at first, and taken for items by hand: {who}.",
        step="Nothing to do; undo the step to leave it out.",
    ),
    Message(
        code="by-hand-soft",
        rank=Rank.SHAPE,
        title="Border hardly an edge",
        text="What a hand took for an item has no clear edge: much of its border is known to ±{value:.2f} mm only.",
        together="What a hand took for items has no clear edge, it is known to ±{value:.2f} mm at worst: {who}.",
        step="Hold a blank against a paper proof, or lay it on paper of another colour, and take the picture again.",
    ),
    Message(
        code="by-hand-no-item",
        rank=Rank.WHOLE,
        title="Nothing to take",
        text="",
        step="Leave the step out, or draw the item's border all round.",
        cases={
            "item": (
                "At {x:.0f},{y:.0f} px nothing differs from the background that is not an item, a hole or the card "
                "already: there is nothing to take for an item."
            ),
            "already": "What lies at {x:.0f},{y:.0f} px is an item already: the step to take it does nothing.",
            "draw": (
                "The border drawn by hand from {x:.0f},{y:.0f} px crosses itself or encloses next to nothing: it was "
                "left aside."
            ),
        },
    ),
    Message(
        code="by-hand-nothing",
        rank=Rank.WHOLE,
        title="Step did nothing",
        text="{things} by hand found nothing to correct: the first, to {do}, at {x:.0f},{y:.0f} px.",
        step="Take the step out, or set its places on the outline again.",
    ),
    Message(
        code="by-hand-without-edge",
        rank=Rank.SHAPE,
        title="No edge on the way",
        text="Along {percent:.0f} % of a line drawn by hand along the edge no edge was found: there it is a guess.",
        together="Along up to {percent:.0f} % of lines drawn by hand along the edge none was found: {who}.",
        step="Set its places nearer together where the edge can be seen, or draw it straight or curved.",
    ),
    Message(
        code="by-hand-dropped",
        rank=Rank.REMARK,
        title="Dropped by hand",
        text="{things} dropped by hand: nothing is written of it.",
        step="Nothing to do; undo the step to have it back.",
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
    Message(
        code="edge-tangled",
        rank=Rank.WHOLE,
        title="Very narrow gap",
        text="The edge crossed itself at a speck or a very narrow gap: a loop smaller than dust was taken off.",
        together="The edge comes within a pixel of itself, or crossed itself at a speck: {who}.",
        step="Look whether narrow gaps and necks are drawn as they are; if not, scan at more dpi.",
        photo_step="Look whether narrow gaps and necks are drawn as they are; if not, go nearer or use more pixels.",
        cases={
            "near": "Two stretches of the edge come within a pixel of each other: {percent:.0f} % of it is less sure.",
        },
    ),
    Message(
        code="thin-strip",
        rank=Rank.SHAPE,
        title="Hair or slit",
        text=(
            "A strip {wide:.1f} px wide and {long:.0f} px long runs from the edge to {x:.0f},{y:.0f} px: a hair, or a "
            "slit or tip of the item. It was taken for a hair and left out."
        ),
        together="A thin strip at the edge, taken for a hair and left out, may be a slit or tip of the item: {who}.",
        step="Clean the glass; if the strip is the item's own, scan at more dpi.",
        photo_step=(
            "Clean mat and lens; if the strip is the item's own, go nearer or use more pixels, and take the photo "
            "again."
        ),
    ),
    Message(
        code="edge-crumb",
        rank=Rank.SHAPE,
        title="Speck on the edge",
        text=(
            "A speck {long:.1f} mm long of another colour than the item lies on the edge and moves it by {value:.2f} "
            "mm there: a crumb, if it is not the item's own."
        ),
        together="Specks of another colour lie on the edge and move it, by up to {value:.2f} mm: {who}.",
        step="Brush the item and the glass clean, and scan again.",
    ),
    Message(
        code="edge-unclear",
        rank=Rank.SHAPE,
        title="Edge hardly seen",
        text="{percent:.0f} % of the edge could not be seen and was bridged: too like its ground, dust, or covered.",
        together="The edge could not be seen everywhere and was bridged, over up to {percent:.0f} % of it: {who}.",
        step="Clean the glass, lay a sheet of another colour behind, and scan again.",
        photo_step="Clean mat and lens, lay it on ground of another colour, evenly lit, and take the photo again.",
    ),
    Message(
        code="edge-washed-out",
        rank=Rank.SHAPE,
        title="Edge washed out",
        text=(
            "Along {value:.1f} mm the edge is washed out, by glare, a fold or what lies behind: the line there is a "
            "guess, and may be off by more than the figure says."
        ),
        together="The edge is washed out along up to {value:.1f} mm, and the line there is a guess: {who}.",
        step="See the place on the check picture; turn the item, or lay another colour behind it, and scan again.",
    ),
    Message(
        code="edge-shape",
        rank=Rank.SHAPE,
        title="Edge no clean step",
        text=(
            "The edge is no clean step from item to ground (a bevel, a see-through edge, a shadow close by): it may be "
            "off by {value:.2f} mm."
        ),
        together="Edges that are no clean step (bevels, see-through, shadows), off by up to {value:.2f} mm: {who}.",
        step="Lay the face that counts on the glass, with a sheet of another colour behind, and scan again.",
    ),
    Message(
        code="second-border",
        rank=Rank.SHAPE,
        title="Two borders",
        text=(
            "The item has two borders, {apart:.2f} mm apart, along {part:.0f} % of its edge (a rim, a bevel, a shadow, "
            "print): {taken}, and may be off by {value:.2f} mm."
        ),
        together="Two borders (a rim, a bevel, a shadow, print), the one taken off by up to {value:.2f} mm: {who}.",
        step="See on the check picture which is meant, the other is dashed, and say --edge outer or --edge inner.",
        cases={
            "chosen": (
                "The item has two borders, {apart:.2f} mm apart, along {part:.0f} % of its edge: the {edge} one was "
                "taken, as asked."
            ),
        },
    ),
    Message(
        code="curve-unlikely",
        rank=Rank.SHAPE,
        title="Curve unlikely",
        text=(
            "The file does not say how its codes follow the light, and the edge looks as if they were the light "
            "itself: it may be off by {value:.2f} mm."
        ),
        together=(
            "The file does not say how its codes follow the light, and edges look as if they were the light itself: "
            "off by up to {value:.2f} mm: {who}."
        ),
        step="Save scans with a colour profile (sRGB), or set the scanner's gamma to 2.2, and scan again.",
    ),
    Message(
        code="edge-above-glass",
        rank=Rank.SHAPE,
        title="Edge above the glass",
        text=(
            "The edge is softer than one on the glass, as if it lay about {high:.1f} mm above it ({low:.1f} to "
            "{high:.1f} mm with a contact sensor, more with a CCD) or in a soft shadow: it may be off by {value:.2f} "
            "mm, most across the scan, along the sensor."
        ),
        together=(
            "Edges softer than one on the glass, above it or in a soft shadow, off by up to {value:.2f} mm, most "
            "across the scan: {who}."
        ),
        step="Lay the edge that counts on the glass and press it flat, then scan again.",
    ),
    Message(
        code="items-close",
        rank=Rank.SHAPE,
        title="Items too close",
        text="The item lies only {value:.2f} mm from the next one: they may touch, and each shades the other's edge.",
        together="Too close to a neighbour, at worst {value:.2f} mm ({limit:g} mm are needed): {who}.",
        step="Lay the items farther apart, and scan again.",
        photo_step="Lay the items farther apart, and take the photo again.",
    ),
    Message(
        code="item-pale",
        rank=Rank.SHAPE,
        title="Item like its ground",
        text=(
            "The item is hardly darker or lighter than its ground ({percent:.0f} % of full light, good: "
            "{percent_limit:.0f} %): its side walls move the edge by a pixel and more."
        ),
        together="Hardly darker or lighter than the ground: side walls move the edge by a pixel and more: {who}.",
        step="Lay the item on paper of another colour, and photograph again.",
    ),
    Message(
        code="shadow-suspected",
        rank=Rank.DOUBT,
        title="Shadow at the edge",
        text="Shadow round the item: it may come out up to {value:.2f} mm too large.",
        together="Shadow round {who}: up to {value:.2f} mm too large.",
        step="Put a dark sheet behind and scan again.",
        photo_step="Light it evenly from all sides, on darker ground, and take the photo again.",
    ),
    Message(
        code="shade-allowed-for",
        rank=Rank.REMARK,
        title="Faint shadow",
        text="A faint shadow lies round the item: up to {value:.2f} mm, which the stated ± holds.",
        together="Faint shadow round {who}: up to {value:.2f} mm, which the stated ± holds.",
        step="Put a dark sheet behind for a smaller figure.",
        photo_step="Light it evenly from all sides for a smaller figure.",
    ),
    Message(
        code="edge-ragged",
        rank=Rank.REMARK,
        title="Edge very uneven",
        text="The edge is very uneven: it is written as {value:.0f} short straight lines, none of them an arc.",
        together="Very uneven edge, written as up to {value:.0f} short straight lines, none of them an arc: {who}.",
        step="For a smoother path say a larger --tolerance, such as 0.1.",
    ),
    Message(
        code="no-ideal-shape",
        rank=Rank.REMARK,
        title="No ideal shape",
        text="--ideal: the outline is no circle, rectangle, slot or regular polygon within {limit:g} mm.",
        together="--ideal: no circle, rectangle, slot or regular polygon within {limit:g} mm: {who}.",
        step="Nothing to do: it is written as measured.",
    ),
    Message(
        code="no-symmetry",
        rank=Rank.REMARK,
        title="Not symmetric",
        text="--symmetric: the outline has no symmetry within {limit:g} mm.",
        together="--symmetric: not symmetric within {limit:g} mm: {who}.",
        step="Nothing to do: it is written as measured.",
        cases={"unmade": "--symmetric: the outline cannot be made symmetric within {limit:g} mm."},
    ),
    Message(
        code="made-symmetric",
        rank=Rank.REMARK,
        title="Made symmetric",
        text="--symmetric: the path written lies up to {value:.3f} mm from the measured edge{holes}.",
        together="--symmetric: paths written up to {value:.3f} mm from the measured edge: {who}.",
        step="Nothing to do: the geometry in the JSON is as measured.",
    ),
)
