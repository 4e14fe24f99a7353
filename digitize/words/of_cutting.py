"""What is said of the paths to cut."""

from __future__ import annotations

from .message import Message, Rank

OF_CUTTING = (
    Message(
        code="no-path",
        rank=Rank.CUT,
        title="No path to cut",
        text=(
            "Nothing is left to cut after {clearance:g} mm of room and {took}: the item is narrower than that, and has "
            "no path."
        ),
        together="Nothing is left to cut, there is no path: {who}.",
        step="Say a larger --clearance or a thinner tool, or leave the item out with --item-at, and run again.",
    ),
    Message(
        code="narrower-than-cutter",
        rank=Rank.CUT,
        title="Narrower than the cutter",
        text="A slot or neck of the pocket is narrower than the cutter of {cutter:g} mm{effect}.",
        together="A slot or neck is narrower than the cutter, at worst uncut over {value:.1f} mm: {who}.",
        step="Take a smaller --cutter or a larger --clearance, and run again.",
    ),
    Message(
        code="uncut",
        rank=Rank.CUT,
        title="Corners left uncut",
        text=(
            "The cutter of {cutter:g} mm leaves {area:.2f} mm2 uncut, at worst {value:.2f} mm deep: the item needs "
            "that room and will not go in."
        ),
        together="The cutter leaves corners uncut, at worst {value:.2f} mm deep: {who}.",
        step="Say the relief that is named here, else a smaller --cutter, and run again.",
        cases={
            "fits": (
                "The cutter of {cutter:g} mm leaves {area:.2f} mm2 uncut, at worst {value:.2f} mm deep: the item goes "
                "in all the same, with less room there."
            ),
            "side": (
                "The cutter of {cutter:g} mm leaves {area:.2f} mm2 uncut, at worst {value:.2f} mm deep: the item needs "
                "that room and will not go in; with --relief side it will."
            ),
        },
    ),
    Message(
        code="room-short",
        rank=Rank.CUT,
        title="Little room",
        text=(
            "At its narrowest the finished pocket leaves the item {value:.3f} mm of room, {limit:g} mm were asked for."
        ),
        together="The finished pocket leaves less room than was asked for, at worst {value:.3f} mm: {who}.",
        step="Look at that place in the check picture; say a larger --clearance or a smaller --tolerance, run again.",
        cases={
            "outside": (
                "The item stands up to {beyond:.3f} mm outside the wall of the finished pocket, where {limit:g} mm of "
                "room were asked for: it will not go in."
            ),
        },
    ),
    Message(
        code="pockets-cross",
        rank=Rank.CUT,
        title="Pockets cross",
        text="The pocket runs into that of {names} ({value:.1f} mm2 in common).",
        together="Pockets run into one another, by up to {value:.1f} mm2: {who}.",
        step="Lay the items farther apart and scan again, or cut each from a file of its own: --separate.",
        photo_step=(
            "Lay the items farther apart and take the photo again, or cut each from a file of its own: --separate."
        ),
    ),
    Message(
        code="web-thin",
        rank=Rank.CUT,
        title="Thin web",
        text="Only {value:.2f} mm of sheet stay between this pocket and that of {name}, {limit:g} mm are asked for.",
        together="Only {value:.2f} mm of sheet stay between pockets, {limit:g} mm are asked for: {who}.",
        step="Lay the items farther apart and scan again, or cut each from a file of its own: --separate.",
        photo_step=(
            "Lay the items farther apart and take the photo again, or cut each from a file of its own: --separate."
        ),
    ),
    Message(
        code="pocket-in-parts",
        rank=Rank.CUT,
        title="Path in parts",
        text="{moved} the outline falls into {value:.0f} parts: it is narrower than what is cut away there.",
        together="The path falls into parts, narrower than what is cut away between: {who}.",
        step="Say a larger --clearance, and run again.",
    ),
    Message(
        code="peg-too-small",
        rank=Rank.CUT,
        title="Peg left out",
        text="{value:.0f} of {holes} holes are too small for a peg at this clearance: left out.",
        together="Holes too small for a peg, left out: {who}.",
        step="Use pins (--pins), or a smaller --clearance.",
        cases={
            "knife": "{value:.0f} of {holes} pegs are too small to be cut with bends of {radius:g} mm: left out.",
        },
    ),
    Message(
        code="opening-closed",
        rank=Rank.CUT,
        title="Opening closed",
        text="{value:.0f} narrow openings of the outline close at this clearance; what is left of them is not cut.",
        together="Narrow openings close at this clearance: {who}.",
        step="Say a smaller --clearance if they matter.",
        cases={
            "islands": (
                "{value:.0f} narrow openings of the outline close at this clearance; what is left is cut as islands."
            )
        },
    ),
    Message(
        code="notch-near-corner",
        rank=Rank.CUT,
        title="Notch near a corner",
        text=(
            "A finger notch {width:g} mm wide lies {value:.1f} mm from a corner or hole of the item, where it is held."
        ),
        together="A finger notch lies only {value:.1f} mm from a corner or hole: {who}.",
        step="Turn the finger notches with --notch-angle, or make them narrower, and run again.",
    ),
    Message(
        code="pin-too-thin",
        rank=Rank.CUT,
        title="Pin left out",
        text="{value:.0f} of {holes} holes would get a pin thinner than {least:g} mm: left out.",
        together="Holes that would get too thin a pin, left out: {who}.",
        step="Say a smaller --clearance, or do without that pin.",
    ),
    Message(
        code="nodes-close",
        rank=Rank.DOUBT,
        title="Very short pieces",
        text=(
            "{count} lines or arcs of the path are shorter than {limit:g} mm, the shortest {value:.3f} mm: some "
            "machines slow down or stutter there."
        ),
        together="Lines or arcs shorter than {limit:g} mm, at which some machines stutter: {who}.",
        step="Say a larger --tolerance, and run again.",
    ),
    Message(
        code="no-room-for-lead",
        rank=Rank.REMARK,
        title="No lead-in",
        text="{value:.0f} of {paths} paths have no room in the waste for a lead-in: the beam pierces on them.",
        together="No room in the waste for a lead-in, the beam pierces on the path: {who}.",
        step="Say a shorter --lead-in if the mark matters.",
    ),
    Message(
        code="no-hole-for-pin",
        rank=Rank.REMARK,
        title="No hole for a pin",
        text="--pins: the item has no hole a pin could go through.",
        together="--pins: no hole a pin could go through: {who}.",
        step="Leave --pins out.",
    ),
    Message(
        code="allowance-unlikely",
        rank=Rank.CUT,
        title="Very much room or kerf",
        text="A {what} of {value:g} mm was said, and more than {limit:g} mm is rare: perhaps a decimal point slipped.",
        step="Go on if it is meant, else say it right and run again.",
    ),
    Message(
        code="no-clearance",
        rank=Rank.REMARK,
        title="No room in the pocket",
        text="--kerf {kerf:g} mm without --clearance: the pocket comes out as large as the item, which may not go in.",
        step="Say --clearance 0.2 or so, or --clearance 0 if that is meant.",
    ),
)
