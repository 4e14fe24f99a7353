"""What is said of the reference and of the scale that follows from it."""

from __future__ import annotations

from .message import Message, Rank

OF_SCALE = (
    Message(
        code="density-disagrees",
        rank=Rank.SIZE,
        title="Size disagrees with dpi",
        text=(
            "By the reference the picture has {by_reference} dpi, by its {source} {by_file}: {off:+.1f} %, by "
            "which all sizes may be wrong. Likely cause: {cause}. The reference was used."
        ),
        step="Measure the reference with calipers, correct --square or --measured, and run again.",
    ),
    Message(
        code="reading-unlikely",
        rank=Rank.SIZE,
        title="Caliper reading unlikely",
        text=(
            "You measured {measured:g} mm in {axes}, but {what} is drawn {drawn:g} mm long: if the reading is wrong, "
            "all sizes are by {percent:+.1f} %. {likely}."
        ),
        step="Print the card at 100 %, measure again, black edge to black edge, and run again.",
    ),
    Message(
        code="axes-differ",
        rank=Rank.SIZE,
        title="Sides disagree",
        text=(
            "By the reference the picture is {percent:.1f} % larger one way than the other (scanners differ by up to "
            "{percent_limit:.0f} %): the reference is probably not as square as was said. The stated ± covers that."
        ),
        step="Measure both sides of the reference, say both, the one along the picture's width first, and run again.",
    ),
    Message(
        code="square-not-as-said",
        rank=Rank.SIZE,
        title="Reference not as said",
        text=(
            "The reference was said to be {said} mm, but in this photo it looks like {seen} mm: it is curled, or its "
            "sides differ. The stated ± covers that."
        ),
        step="Press it flat (tape, glass), measure both sides, and say both: --square 49.8x49.4.",
    ),
    Message(
        code="scale-from-density",
        rank=Rank.REMARK,
        title="Size from dpi alone",
        text="Sizes rest on {source} alone ({value:g} dpi): they may be off by {off:.0f} %.",
        step="Scan again with the reference square beside the item.",
    ),
    Message(
        code="scale-from-scanner",
        rank=Rank.REMARK,
        title="Size from the scanner",
        text="No reference was in the picture: sizes rest on the profile of scanner {name}, to {value:.2f} %.",
        step="Lay the card beside the item now and then, to see that the scanner is as it was.",
    ),
    Message(
        code="scanner-changed",
        rank=Rank.SIZE,
        title="Scanner changed",
        text=(
            "The reference in the picture and the profile of scanner {name} disagree by {value:.2f} % about {what} (up "
            "to {limit:.2f} % may be put down to both): the reference was followed."
        ),
        step="Measure the card again; if it still reads as was said, make the profile anew: digitize profile scanner.",
    ),
    Message(
        code="beyond-scanner-map",
        rank=Rank.SIZE,
        title="Beyond the scanner's map",
        text=(
            "The item reaches {value:.0f} mm beyond where the card lay when the profile of scanner {name} was made: "
            "how the scanner bends there is not known."
        ),
        together="Beyond where the card lay when the scanner's profile was made, at most {value:.0f} mm: {who}.",
        step="Lay it further in, or make the profile anew with the card out there too.",
    ),
    Message(
        code="reference-touched",
        rank=Rank.SIZE,
        title="Reference touched",
        text=(
            "Something lies at the reference near {x:.0f},{y:.0f} px, an item or a shadow, and may hide its "
            "edge: all sizes may be wrong."
        ),
        step="Lay the reference free of items and shadows, and take the picture again.",
    ),
    Message(
        code="disc-edge",
        rank=Rank.SIZE,
        title="Disc's edge not clear",
        text=(
            "Just outside the disc at {x:.0f},{y:.0f} px the picture is neither disc nor ground: its shadow, a bright "
            "chamfer or an item. Which edge calipers read is not sure, and all sizes may be wrong by some tenths of a "
            "percent or more."
        ),
        step="Lay the disc free, its sharp edge on the glass; best a thin, dark one without a chamfer.",
    ),
    Message(
        code="reference-covered",
        rank=Rank.SIZE,
        title="Reference covered",
        text=(
            "The reference is covered or damaged near {x:.0f},{y:.0f} px; it was measured by what is seen of its sides."
        ),
        step="Clear the reference of what lies on it, and take the picture again.",
    ),
    Message(
        code="card-touched",
        rank=Rank.WHOLE,
        title="Something on the card",
        text="Something lies on the reference card or touches it: {why}. What lies there is not measured.",
        step="Move the item away from the card, and take the picture again.",
    ),
    Message(
        code="ring-left-out",
        rank=Rank.DOUBT,
        title="Part of the card left out",
        text="The card's ring at {x:.0f},{y:.0f} px is covered or cut off and was left out.",
        step="Lay the card flat and clear, and take the picture again.",
        cases={
            "bent": (
                "The card's ring at {x:.0f},{y:.0f} px lies {value:.2f} px off from where the others put it and was "
                "left out: the card is bent or lifted there."
            ),
            "other": "The card's ring at {x:.0f},{y:.0f} px was left out: {why}.",
        },
    ),
    Message(
        code="card-not-flat",
        rank=Rank.SIZE,
        title="Card not flat, or lens",
        text=(
            "The reference's edges are off by {off_mm:.3f} mm from where they should be: the paper is curled, or the "
            "lens bends straight lines. An outline may be off by {value:.2f} mm."
        ),
        step="Press the card flat and take the photo again; if that does not help: digitize profile lens, --profile.",
        cases={
            "bent": (
                "A side of the reference is bent by {off_mm:.3f} mm: the paper is curled, or the lens bends straight "
                "lines. An outline may be off by {value:.2f} mm."
            )
        },
    ),
    Message(
        code="focal-disagrees",
        rank=Rank.SIZE,
        title="Not the whole photo",
        text=(
            "The photo was cropped or zoomed, or taken with another of the phone's lenses: the card is seen "
            "{percent:+.1f} % otherwise than the {source} says."
        ),
        step="Use the original, whole picture of the main lens.",
    ),
    Message(
        code="focal-unknown",
        rank=Rank.DOUBT,
        title="Camera unknown",
        text=(
            "The file does not say which lens it was taken with; by the card alone the camera's distance is known to "
            "{percent:.1f} %."
        ),
        step="Use the phone's original file, or a lens profile: digitize profile lens.",
    ),
    Message(
        code="item-height-missing",
        rank=Rank.SHAPE,
        title="Height not said",
        text=(
            "No height was said, so the item is taken as flat: each mm of height makes it up to {value:.2f} mm too "
            "large for every 100 mm from the point below the camera."
        ),
        step="Measure the item's height and say it: --item-height 3.2 (0 for a flat one).",
    ),
    Message(
        code="card-not-measured",
        rank=Rank.REMARK,
        title="Card not measured",
        text=(
            "The printed card was not measured: paper and printer may make all sizes {off:.1f} % wrong. Its ring is "
            "drawn {outer:g} mm wide."
        ),
        step="Measure the ring's outer sides with calipers once, across and along, and say them: --measured XxY.",
    ),
    Message(
        code="option-not-used",
        rank=Rank.REMARK,
        title="Option not used",
        text="",
        step="Leave the option out, or change it as said.",
        cases={
            "measured": (
                "--measured {said} was not used: it is for our ring card, and none is in the picture. The plain square "
                "was taken at the sides said with --square."
            ),
            "square": (
                "--square {said} was not used: the picture holds our ring card, whose code says its size. A plain "
                "square beside it is used when the card is covered, or with --square-at X,Y."
            ),
            "measured_disc": (
                "--measured {said} was not used: it is for our ring card, and none is in the picture. The disc was "
                "taken at the diameter said with --disc."
            ),
            "disc": (
                "--disc {said} was not used: the picture holds our ring card, whose code says its size. A disc beside "
                "it is used when the card is covered, or with --square-at X,Y."
            ),
            "dpi": "--dpi {said} was only compared: the reference in the picture is surer.",
        },
    ),
    Message(
        code="taken-as-photo",
        rank=Rank.REMARK,
        title="Taken as a photo",
        text=("Taken as a photo: {why}. The camera was {distance_mm:.0f} mm above the card, tilted {tilt_deg:.0f}°."),
        step="Say --flatbed if it is a scan.",
    ),
)
