"""What is said of what a hand set, added or took away."""

from __future__ import annotations

from .message import Message, Rank

OF_HAND = (
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
)
