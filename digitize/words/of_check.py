"""What is said where calipers and an outline disagree: the likely cause, its figure, one next step."""

from .message import Message, Rank

OF_CHECK = (
    Message(
        code="check-fit-to-page",
        rank=Rank.SIZE,
        title="Printed to fit the page",
        text=(
            "All sizes are {value:.4f} times what calipers say: that is what a page printed at {share:.2f} % leaves, "
            'the printer\'s "fit to page".'
        ),
        step="Print the card again at 100 %, measure it, say what you measured (--measured), and outline again.",
    ),
    Message(
        code="check-density",
        rank=Rank.SIZE,
        title="Wrong dpi",
        text=(
            "All sizes are {value:.4f} times what calipers say: {first:g} and {second:g} dpi were taken for one "
            "another."
        ),
        step="Scan again with the reference square beside the item, or give the scanner's true --dpi.",
    ),
    Message(
        code="check-inch",
        rank=Rank.SIZE,
        title="Inches and mm mixed",
        text="All sizes are {value:.3f} times what calipers say: inches and millimetres were taken for one another.",
        step="Give the reference and the readings in mm, and run again.",
    ),
    Message(
        code="check-tenfold",
        rank=Rank.SIZE,
        title="Ten times or a tenth",
        text="All sizes are {value:.3g} times what calipers say: a decimal point slipped, or cm were taken for mm.",
        step="Look at the readings and at the reference's side, all of them in mm, and run again.",
    ),
    Message(
        code="check-exchanged",
        rank=Rank.SIZE,
        title="Two readings exchanged",
        text="What was said to be the {first} is as long as the {second}, and the other way round: exchanged.",
        step="Say each reading under the other's name, and run again.",
    ),
    Message(
        code="check-one-axis",
        rank=Rank.SIZE,
        title="One direction wrong",
        text=(
            "Along the picture's {way} sizes are {off:+.2f} % off, across it they agree: the scanner's feed, or one "
            "side of the reference, is not as was said."
        ),
        step="Measure both sides of the reference, say both (--measured 53.8x53.9), and outline again.",
    ),
    Message(
        code="check-height",
        rank=Rank.SIZE,
        title="Height not as said",
        text=(
            "All sizes are {off:+.2f} % off, as of something that lies nearer to the camera than the card; its "
            "height was taken as {height:g} mm."
        ),
        cases={
            "lower": (
                "All sizes are {off:+.2f} % off, as of something that lies farther from the camera than was said; its "
                "height was taken as {height:g} mm."
            )
        },
        step="Measure how high the item's edge stands above the card, say --item-height, and outline again.",
    ),
    Message(
        code="check-scale",
        rank=Rank.SIZE,
        title="Scale wrong",
        text="All sizes are {off:+.2f} % off: the reference is not as large as was said.",
        step="Measure the reference again, black edge to black edge, say what you read, and outline again.",
        cases={
            "unmeasured": (
                "All sizes are {off:+.2f} % off: the reference was not measured, and printers and paper are often "
                "so far off."
            )
        },
    ),
    Message(
        code="check-kerf",
        rank=Rank.SIZE,
        title="One kerf",
        text=(
            "Outline and readings are {value:+.3f} mm apart across, about one kerf ({kerf:g} mm): "
            "what was measured is a cut piece, or kerf was taken twice or the wrong way."
        ),
        step="Measure the blank itself; if it is the cut that is off, check --kerf with a test cut.",
    ),
    Message(
        code="check-too-large",
        rank=Rank.SHAPE,
        title="Too large all round",
        text=(
            "The outline lies {off:.3f} mm outside what you measured all round: a shadow or a soft rim was taken for "
            "the item, or the jaws pressed it together."
        ),
        step="Look at the edge in the check picture; scan again on a ground that differs more, or with --edge inner.",
        photo_step=(
            "Look at the edge in the check picture; take the photo again on ground that differs more, evenly lit."
        ),
    ),
    Message(
        code="check-too-small",
        rank=Rank.SHAPE,
        title="Too small all round",
        text=(
            "The outline lies {off:.3f} mm inside what you measured all round: a pale rim or a bevel was taken for "
            "the ground."
        ),
        step="Look at the edge in the check picture; scan again on a ground that differs more, or with --edge outer.",
        photo_step=(
            "Look at the edge in the check picture; take the photo again on ground that differs more, evenly lit."
        ),
    ),
    Message(
        code="check-one-reading",
        rank=Rank.DOUBT,
        title="One reading alone",
        text="Only the {name} is off, by {value:+.3f} mm, all others agree: the reading, or that place of the edge.",
        step="Measure it again, and look at that place in the check picture.",
    ),
    Message(
        code="check-unexplained",
        rank=Rank.SIZE,
        title="No cause found",
        text="No single cause explains these readings; the largest difference is {value:+.3f} mm.",
        cases={"alone": "One reading alone does not tell the cause; the difference is {value:+.3f} mm."},
        step="Measure length, width and the box again, and give all of them.",
    ),
)
