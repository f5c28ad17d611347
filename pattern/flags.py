"""One registry of quality flags: what was seen, what it means, what the user can do.

A flag that *stops* makes the photo declined (it becomes one of the reading's `reasons`), or keeps the
advice from naming a move; a flag that *warns* rides along with the numbers. Documentation and messages
are made from this table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Flag:
    """One thing that can be wrong with a photo or a reading."""

    code: str
    meaning: str
    remedy: str
    effect: Literal["stops", "warns"]


_ALL = (
    Flag(
        "no_teeth",
        "no gear teeth found",
        "Fill the picture with the painted teeth, or draw the outline by hand.",
        "stops",
    ),
    Flag(
        "unsure_teeth",
        "teeth seen, but their outline is not certain",
        "Photograph three to five painted teeth square on, or draw the outline by hand.",
        "stops",
    ),
    Flag(
        "no_compound",
        "no marking compound on the teeth",
        "Paint three to five teeth thinly and evenly, roll, and photograph again.",
        "stops",
    ),
    Flag(
        "no_contact",
        "compound but no contact patch",
        "Roll the set both ways against a brake, then photograph again.",
        "stops",
    ),
    Flag(
        "blurred",
        "the picture is out of focus or shaken",
        "Tap on the teeth to focus, rest the hands, photograph again.",
        "stops",
    ),
    Flag(
        "too_dark",
        "the picture is too dark on the teeth",
        "Add light from the side and photograph again.",
        "stops",
    ),
    Flag(
        "blown_out",
        "the teeth are washed out by light",
        "Turn the flash off or move the lamp aside, then photograph again.",
        "stops",
    ),
    Flag(
        "glare",
        "a reflection lies over the contact patch",
        "Move the lamp or the camera a little, then photograph again.",
        "stops",
    ),
    Flag(
        "too_small",
        "the teeth are too small in the picture",
        "Go closer: a tooth should be a third of the picture's width.",
        "stops",
    ),
    Flag(
        "tooth_cut",
        "a tooth's end is outside the picture",
        "Step back one hand's width so that both ends are in.",
        "stops",
    ),
    Flag(
        "hidden",
        "the tooth is covered by something",
        "Clear the view of the tooth and photograph again.",
        "stops",
    ),
    Flag(
        "wrong_side",
        "the picture looks like the other side of the teeth",
        "Check drive and coast: the convex side is drive, the concave side is coast.",
        "stops",
    ),
    Flag(
        "teeth_disagree",
        "the painted teeth show different patterns",
        "Wipe, paint thinner, roll again; if it stays, check runout of the case.",
        "stops",
    ),
    Flag(
        "few_teeth",
        "only one tooth was read",
        "Three or more painted teeth make a surer reading.",
        "warns",
    ),
    Flag(
        "runout",
        "the pattern drifts from tooth to tooth",
        "Check runout of the case and the ring gear's seat.",
        "warns",
    ),
    Flag("faint", "the mark is faint", "Paint a little more, or brake harder.", "warns"),
    Flag(
        "edge_cut",
        "the mark runs off the tooth's edge",
        "The true centre may lie nearer that edge than the number says.",
        "warns",
    ),
    Flag(
        "two_bands",
        "the mark lies in two separate bands",
        "A bridged profile is no matter of shims; compare with the other side.",
        "warns",
    ),
    Flag(
        "some_glare",
        "reflections lie on part of the teeth",
        "Move the lamp aside for a surer reading.",
        "warns",
    ),
    Flag("drawn_by_hand", "the outline was drawn by the user", "Nothing to do.", "warns"),
    Flag(
        "followed",
        "other outlines were laid from those drawn by hand",
        "See that they follow their teeth; leave out one that does not.",
        "warns",
    ),
    Flag(
        "end_cut",
        "an end of the tooth is outside the picture",
        "Step back a little: then both ends settle where the mark lies.",
        "warns",
    ),
    Flag(
        "toe_overridden",
        "the toe was given, and not where side and hand put it",
        "Check drive or coast, the hand of the ring gear, and whether the picture is mirrored.",
        "warns",
    ),
    Flag(
        "mirrored",
        "the file says that the picture is mirrored",
        "Toe and heel are named after putting it right; check the hand of the gear.",
        "warns",
    ),
    Flag(
        "bridged_profile",
        "advice: a mark lies in two bands, no shim mends it",
        "Check that ring gear and pinion are one matched set.",
        "stops",
    ),
    Flag(
        "wander",
        "advice: a mark wanders around the ring gear, no shim mends it",
        "Look for a bent case, dirt under the ring gear or loose bearings; measure the runout.",
        "stops",
    ),
    Flag(
        "lame_contact",
        "advice: one side's mark lies high and the other's low, no shim mends it",
        "Look for an unmatched set, a sprung housing or a wrong bearing.",
        "stops",
    ),
    Flag(
        "cross_contact",
        "advice: the marks lie at opposite ends and no move brings both right",
        "Look for a bent housing, worn bores or an unmatched set.",
        "stops",
    ),
    Flag(
        "contradiction",
        "advice: marks and backlash did not follow the recorded moves",
        "Check the moves, their signs and the backlash of each roll.",
        "stops",
    ),
)

FLAGS: dict[str, Flag] = {flag.code: flag for flag in _ALL}
if len(FLAGS) != len(_ALL):  # a doubled code would silently hide one remedy
    raise RuntimeError("flag codes must be unique")


def flag(code: str) -> Flag:
    """Look a flag up by its code; raises KeyError for a code that is not registered."""
    return FLAGS[code]
