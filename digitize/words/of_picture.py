"""What is said of the file and of the picture as a whole."""

from __future__ import annotations

from .message import Message, Rank

OF_PICTURE = (
    Message(
        code="two-level",
        rank=Rank.SHAPE,
        title="Black and white only",
        text="The picture is line art, black or white only: every edge may lie {value:.3f} mm off.",
        step="Scan again in grey or colour.",
    ),
    Message(
        code="picture-coarse",
        rank=Rank.SHAPE,
        title="Scanned coarsely",
        text=(
            "The picture has only {dpi:.0f} dpi: holes and notches smaller than about {hole_mm:.1f} mm may be missing, "
            "and edges are less sure."
        ),
        step="Scan again at 300 dpi or more.",
    ),
    Message(
        code="picture-soft",
        rank=Rank.SHAPE,
        title="Photo is soft",
        text="The photo is soft: edges are {value:.1f} px wide, good are {limit:.0f}.",
        step="Tap on the card to focus, hold the phone still, and take it again.",
    ),
    Message(
        code="first-page-only",
        rank=Rank.WHOLE,
        title="First page only",
        text="The file holds {value:.0f} {what}; only the first was read.",
        step="Save the others to files of their own.",
    ),
    Message(
        code="transparency",
        rank=Rank.SHAPE,
        title="Transparent parts",
        text="{percent:.2f} % of the picture is transparent; it was laid over white.",
        step="Check the edges there, or save the picture without transparency.",
    ),
    Message(
        code="profile-ignored",
        rank=Rank.SHAPE,
        title="Colour profile unusable",
        text="The file's colour profile cannot be used ({why}), so edges may lie a little off: it is read as sRGB.",
        step="Save the picture as sRGB and run again.",
    ),
    Message(
        code="curve-assumed",
        rank=Rank.SHAPE,
        title="High dynamic range",
        text="The picture is high dynamic range; it is read as sRGB, so edges may lie a little off.",
        step="Switch HDR off in the camera, and take it again.",
    ),
    Message(
        code="colours-converted",
        rank=Rank.DETAIL,
        title="Colours converted",
        text="The picture was converted to sRGB by {how}.",
        step="Nothing to do; save it in RGB to do without.",
    ),
    Message(
        code="density-ignored",
        rank=Rank.DETAIL,
        title="Density not used",
        text="The density that the file states ({source}: {dpi}) {why}; not used.",
        step="Nothing to do with a reference in the picture.",
    ),
    Message(
        code="exif-ignored",
        rank=Rank.DETAIL,
        title="EXIF damaged",
        text="What the camera wrote into the file (EXIF) is damaged and was not used.",
        step="Use the camera's original file if you have it.",
    ),
    Message(
        code="picture-gone",
        rank=Rank.REMARK,
        title="Picture gone",
        text="The picture is no longer there; its {count} results are, and stay.",
        step="Move them away if they are no longer wanted.",
    ),
    Message(
        code="rejected",
        rank=Rank.SIZE,
        title="Rejected",
        text="A person rejected what came of it; no files of it are kept.",
        step="Take the picture again under the same name, then run the same command again.",
    ),
)
