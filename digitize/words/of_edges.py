"""What is said of items' edges: where another one may be meant, what moves them, and what is regular about them."""

from __future__ import annotations

from .message import Message, Rank

OF_EDGES = (
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
        photo_step="See the place on the check picture; light it from another side, and take the photo again.",
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
