"""Every word that the page shows, in one place. A second language is a second file of these names."""

from __future__ import annotations

import math

TITLE = "Contact pattern"

# --- the way -----------------------------------------------------------------------------------

STEPS = {
    "axle": "Axle",
    "roll": "Photos",
    "outline": "Outline",
    "advice": "Advice",
    "final": "Final",
}
JOBS = "Jobs"
ALL_JOBS = "‹ Jobs"
UNITS = "Units"
UNIT_NAMES = {"in": "inch", "mm": "mm"}
NO_JOB_NAMED = "This address names no job"
BACK_TO_LIST = "Choose one from the list of jobs"

# --- jobs --------------------------------------------------------------------------------------

JOBS_INTRO = (
    "Photograph painted ring gear teeth, see where the pattern lies, get the next shim correction."
)
NEW_JOB = "Start a job"
SEARCH = "Find a job"
SEARCH_HINT = "customer or vehicle"
NO_JOBS = "No job yet. Start one: two photos of one test roll are enough for the first advice."
NOTHING_FOUND = "No job matches “{words}”."
OLDER = "Older jobs"
ON_THE_PHONE = "Open it on the phone"
ON_THE_PHONE_TEXT = (
    "Point the phone's camera here, or type {url}. The shop's passphrase is asked first."
)
STATUSES = {
    "open": "open",
    "waiting": "waiting for parts",
    "done": "done",
    "withdrawn": "withdrawn",
}
CONTINUE = "Open"
AXLE_MISSING = "axle not described yet"
UNNAMED = "New job"


def rolls_filed(count: int) -> str:
    """How many rolls a job has."""
    return {0: "no roll filed", 1: "1 roll"}.get(count, f"{count} rolls")


# --- axle --------------------------------------------------------------------------------------

AXLE_HEAD = "Axle and as found"
CUSTOMER = "Customer or order number"
VEHICLE = "Vehicle"
RING_TEETH = "Ring gear teeth"
PINION_TEETH = "Pinion teeth"
DIAMETER = "Ring gear diameter"
RATIO = "Ratio {ratio:.3f}"
TOOTH_SYSTEM = "Tooth depth"
TOOTH_SYSTEM_HELP = (
    "Measure the tooth's depth at the heel and at the toe. Deeper at the heel: tapered (most "
    "face-milled sets). The same: uniform (face-hobbed sets). It decides which end of the tooth a "
    "pinion move shows at."
)
TOOTH_SYSTEMS = {
    "tapered": "Deeper at heel",
    "uniform": "Same depth",
    "unknown": "Don't know",
}
DEPTH_SHIM = "Where the depth shim sits"
DEPTH_SHIM_HELP = (
    "Behind the pinion head or under the inner bearing's cup: thicker puts the pinion deeper. "
    "Between a bolt-on pinion cartridge and the housing: thicker puts it shallower."
)
DEPTH_SHIMS = {
    "pinion_head": "Pinion head or inner cup",
    "cartridge": "Under the cartridge",
    "unknown": "Don't know",
}
CONDITION = "Gear set"
CONDITIONS = {"new": "New", "used": "Used, run in"}
CONDITION_HELP = "A used set goes back to the pattern it was found with, not to the middle."
LIMITS = "Backlash limits of the maker"
LIMIT_LOW = "Least"
LIMIT_HIGH = "Most"
LIMITS_NOTE = (
    "Filled in: common practice for 7.5 to 10.5 in ring gears. The maker's limits decide; set them."
)
SHIMS = "Shims in it at the first roll"
SHIMS_NOTE = "Moves recorded with later rolls are added to these."
DRAWER = "Shims in the drawer"
DRAWER_NOTE = (
    "List the sizes that the shop has; advice then names the stack to pull. Leave it empty and any "
    "whole thousandth may be advised."
)
DRAWER_DEPTH = "Depth shims, thicknesses"
DRAWER_SIDE = "Side shims, thicknesses"
DRAWER_DEPTH_HINT = {"in": "0.003 0.005 0.010 0.020 0.030", "mm": "0.05 0.10 0.25 0.50 0.75"}
DRAWER_SIDE_HINT = {"in": "0.240 0.250 0.252 0.254", "mm": "6.00 6.20 6.25 6.30"}
DEPTH_SHIM_NOW = "Depth shim"
LEFT_SHIM = "Left side shim"
RIGHT_SHIM = "Right side shim"
SIDE_SETTING = "Side setting"
SIDE_SETTINGS = {"shims": "Shims", "threaded": "Threaded adjusters"}
NOTCH = "Travel of one adjuster notch"
RING_SIDE = "Side of the housing the ring gear sits on"
RING_SIDES = {"left": "Left", "right": "Right"}
RING_SIDE_HELP = "Left and right of the vehicle, looking forward."
MORE_AXLE = "More about the set"
HAND = "Ring gear spiral"
HANDS = {"right": "Right-hand", "left": "Left-hand"}
HAND_HELP = (
    "Usually right-hand. A reverse-rotation set (high pinion, many front axles) is left-hand: the "
    "mirror image."
)
POSITION = "Axle"
POSITIONS = {"rear": "Rear", "front": "Front"}
ROTATION = "Rotation"
ROTATIONS = {"standard": "Standard", "reverse": "Reverse (high pinion)"}
FACE_WIDTH = "Face width"
OFFSET = "Pinion offset"
CUTTER = "Cutter radius"
AS_FOUND = "As found, before taking apart"
AS_FOUND_BACKLASH = "Backlash around the ring gear, one reading after the other"
READINGS_HINT = {"in": "0.008 0.0085 0.009 0.008", "mm": "0.20 0.22 0.23 0.20"}
READINGS_FAULT = "Write the readings as numbers with a space between them."
DIAL = "Dial plunger"
DIALS = {"normal": "Square to the tooth", "rotation": "Along the rotation"}
DIAL_HELP = (
    "At the heel, square to the tooth is what is used here. Along the rotation reads about 1.3 "
    "times that, so say which it was."
)
PINION_MARK = "Etched on the pinion"
RING_MARK = "Etched on the ring gear"
CAP_MARKS = "Marks of the bearing caps"
BOLTS = "Ring gear bolts"
NOTES = "Notes"
TO_PHOTOS = "Next: photos of the test roll"
MUST_FILL = "Fill in {fields} first."

PHOTO = "Photo"

# --- roll --------------------------------------------------------------------------------------

SIDE_NAMES = {"drive": "Drive side", "coast": "Coast side"}
SIDE_HELP = {
    "drive": "the convex side of the ring gear's teeth",
    "coast": "the concave side of the ring gear's teeth",
}
ROLL = "Roll {number}"
ROLL_KIND = "This roll is"
ROLL_KINDS = {"roll": "A test roll", "as_found": "The pattern as found", "final": "The last check"}
GUIDE = "How to photograph the pattern"
GUIDE_TEXT = (
    "Fill the picture with three to five painted teeth, both ends of the tooth in. Look straight at "
    "the painted side. Light from the side, no flash. Tap on the teeth to focus, rest your hands. "
    "One or two photos of each side are enough."
)
GUIDE_ALT = (
    "Drawing of a good photo: three painted teeth fill the picture, both ends of each tooth are in, "
    "light comes from the side."
)
UPLOAD = {"drive": "Add photos of the drive side", "coast": "Add photos of the coast side"}
READING_NOW = "Reading {name} …"
READ_FAILED = (
    "{name} could not be read because of a fault of this program. Draw the outline by hand."
)
KEEPING = "Keeping {name} …"
OTHER_SIDE = {"drive": "This is the drive side", "coast": "This is the coast side"}
REMOVE_PHOTO = "Remove"
DRAW_OUTLINE = "Draw the outline"
CHECK_OUTLINE = "Check the outline"
DECLINED = "Not read"
MOVED = "Moved since the last roll"
MOVED_NOTE = "Filled in as advised. Change it to what was really done."
PINION_MOVE = "Pinion"
PINION_WAYS = {"none": "Not moved", "deeper": "Deeper", "shallower": "Shallower"}
RING_MOVE = "Ring gear"
RING_WAYS = {"none": "Not moved", "away": "Away from pinion", "toward": "Toward pinion"}
BY = "by"
BACKLASH = "Backlash now"
NEXT_OUTLINE = "Next: check the outline"
NEXT_ADVICE = "Next: advice"
NEED_PHOTO = "Add a photo of the drive or the coast side to go on."
NEED_READING = "No photo could be read yet. Draw the outline by hand or photograph again."
BACK_TO_PHOTOS = "Back to the photos"
STRIKE = "This roll should not count"
STRIKE_REASON = "Why not"
STRIKE_DO = "Leave it out of the advice"
STRUCK = "Left out of the advice: {reason}"
UNSTRIKE = "Let it count again"
FILED = "filed"
IN_WORK = "in work"

# --- reading -----------------------------------------------------------------------------------

LENGTHWISE = "Lengthwise"
PROFILE = "Profile"
TOWARD_TOE, TOWARD_HEEL = "toward the toe", "toward the heel"
TOWARD_ROOT, TOWARD_TIP = "toward the root", "toward the tip"
MIDDLE = "in the middle"
TEETH_READ = "{count} teeth read"
TOOTH_READ = "1 tooth read"
COMPOUND = "{colour} compound"


def place(value: float, low: str, high: str) -> str:
    """In words where a share of the tooth lies."""
    if abs(value - 0.5) < 0.05:
        return MIDDLE
    return low if value < 0.5 else high


# --- outline -----------------------------------------------------------------------------------

OUTLINE_HEAD = "Check the outline"
OUTLINE_INTRO = (
    "The white line should follow the working side of the tooth: solid along the tip, dashed along "
    "the root. Drag a point where it does not."
)
EDITOR = {
    "tooth": "Tooth {tooth}",
    "photo": "Whole photo",
    "undo": "Undo",
    "add": "Add a tooth",
    "remove": "Remove this tooth",
    "again": "Find again",
    "choose": "Tap a tooth to come closer.",
    "choose_followed": "Blue: laid anew from the teeth that you corrected. Tap a tooth to come closer.",
    "drag": "Drag a point. The arrow keys move the point that is in focus.",
    "drag_found": "Drag a point where it is off: the other teeth follow. The arrow keys move the point "
    "that is in focus.",
    "drag_followed": "Laid anew from the teeth that you corrected. Drag a point where it is still off, or "
    "remove the tooth.",
    "toe": "toe",
    "heel": "heel",
    "handle": "Tooth {tooth}, {point}, at {x}, {y}. Arrow keys move it.",
    "points": [
        "corner toe and tip",
        "middle of the tip edge",
        "corner heel and tip",
        "corner heel and root",
        "middle of the root edge",
        "corner toe and root",
        "the whole outline",
    ],
}
TEETH_LAID = "Outlines"


def tooth_line(number: int, kind: str, confidence: float) -> str:
    """One tooth of a photo: who laid its outline, and how sure that is."""
    how = {
        "drawn": "by your hand",
        "found": f"found, {confidence:.0%} sure",
        "followed": f"follows your correction, {confidence:.0%} sure",
    }[kind]
    return f"Tooth {number}: {how}"


BY_HAND = "Outline drawn by hand"
AUTOMATIC = "Outline found automatically"

# --- advice ------------------------------------------------------------------------------------

ADVICE_HEAD = "Advice"
VERDICTS = {
    "accept": "The pattern is right. Leave the shims.",
    "adjust": "Make this move",
    "reject": "No shim mends this set",
    "undecided": "Not decided yet",
}
VERDICT_MARKS = {"accept": "✓", "adjust": "→", "reject": "✕", "undecided": "?"}
MAY_REFINE = "Good enough to leave. This would bring it nearer to its place:"
CHANCE_NOW = "Chance that it is right as it stands: {chance:.0%}"
CHANCE_AFTER = "Chance that it is right after this move: {chance:.0%}"
PINION_DEEPER, PINION_SHALLOWER = "Pinion deeper", "Pinion shallower"
RING_AWAY, RING_TOWARD = "Ring gear away from the pinion", "Ring gear toward the pinion"
PINION_STAYS, RING_STAYS = "Pinion stays", "Ring gear stays"
SHIM_NAMES = {
    "depth": "Depth shim",
    "left": "Left side shim",
    "right": "Right side shim",
}
PULL = "from the kit"
ADD, TAKE_OUT = "add", "take out"
WHY = "Why"
CAUTION_HEAD = "Cautions"
NOW_AND_EXPECTED = "The pattern now, and after the move"
EXPECTED_NOTE = "{now} is the pattern now, {then} is where it should come to lie."
WHAT_IF = "What if"
WHAT_IF_NOTE = "Move the set here and see where the mark should go. An estimate, not a measurement."
WHAT_IF_PINION = "Pinion, + is deeper"
WHAT_IF_RING = "Ring gear, + is away from the pinion"
IF_SYSTEM = {"tapered": "If the teeth are tapered", "uniform": "If the teeth are of uniform depth"}
WOULD_BIND = "No backlash would be left: the set would bind."
WHAT_IF_BACKLASH = "Backlash then about {value}"
MARK_TOLD = "roll {number} at {lengthwise:.2f} from the toe and {profile:.2f} from the root"
PROGRESS = "Over the rolls"
FILE_ROLL = "File this roll"
ROLL_FILED = "Roll {number} is filed."
NEXT_ROLL = "Next: the move is made, roll {number}"
NEXT_ROLL_UNMOVED = "Next: roll {number}"
ALSO_NEXT_ROLL = "Another roll"
TO_FINAL = "Next: final sheet"
ALSO_FINAL = "Go to the final sheet"
LIMIT_STANDS = "No correction within the limits"

# --- final -------------------------------------------------------------------------------------

FINAL_HEAD = "Final sheet"
FINAL_INTRO = "What the set leaves the bench with. The report carries it together with every roll."
FINAL_BACKLASH = "Backlash at several places"
ROTATING_TORQUE = "Rotating torque of the pinion (lbf·in)"
CASE_PRELOAD = "Shims added for case preload"
THREADLOCKER = "Threadlocker on the ring gear bolts"
CHECKED_BY = "Checked by"
FINISH = "Finish the job"
FINISHED = "This job is done."
REPORT = "Report (PDF)"
MAKE_REPORT = "Make the report"
REPORT_BEFORE = "What stands on this sheet comes into the report when the job is finished."
REOPEN = "Open the job again"
NO_ROLL_YET = "No roll is filed yet; the report would be empty."
NOT_RIGHT_YET = (
    "Roll {number}, the last on file, was not right yet: “{verdict}”. After a move, roll again and file it; "
    "or say in the notes why the set leaves so."
)

CAUTIONS = (
    "Vehicle on rated stands, wheels chocked.",
    "Hands, sleeves and camera out of the mesh while it turns.",
    "Eye protection; solvents and brake dust in moving air.",
    "Torques, limits and sequences: the maker's service data decide.",
)
HINT_ONLY = (
    "A hint for a trained mechanic. The final measured check is yours; local law and licensing "
    "decide who may release the vehicle."
)

# --- faults ------------------------------------------------------------------------------------

ARCHIVE_FAULT = "The job archive does not open."
PRESS_AGAIN = (
    "Press again to keep what stands on this page; what the other one wrote stays in the history."
)
UNEXPECTED = (
    "Something went wrong that this page did not expect. What you entered is kept. "
    "Reload the page; the terminal shows the details."
)

# --- the gate ----------------------------------------------------------------------------------

GATE_FOREIGN_HOST = "This page does not answer under that name.\n"
GATE_FOREIGN_ORIGIN = "Another web page asked for this; it is refused.\n"
GATE_CLOSED = "The passphrase comes first.\n"
GATE_WRONG = "That is not the passphrase."


def gate_wait(wait_s: float) -> str:
    """What a visitor reads after too many wrong tries."""
    return f"Too many wrong tries. Try again in {math.ceil(wait_s / 60)} min."


GATE_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Contact pattern</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
:root {{ color-scheme: light dark; }}
body {{ font: 17px/1.45 system-ui, sans-serif; margin: 0; display: grid; min-height: 100vh;
  place-content: center; background: light-dark(#f3f4f5, #16191c); color: light-dark(#15191d, #eef0f2); }}
form {{ width: min(20rem, 88vw); display: grid; gap: 0.8rem; }}
h1 {{ font-size: 1.4rem; margin: 0; }}
input, button {{ font: inherit; min-height: 48px; border-radius: 0.3rem; padding: 0 0.8rem;
  border: 1px solid #7f868d; box-sizing: border-box; width: 100%; }}
button {{ background: #2d4a86; color: #fff; border: 0; font-weight: 650; }}
[role=alert] {{ margin: 0; font-weight: 650; }}
</style></head>
<body><main><form method="post" action="{action}">
<h1>Contact pattern</h1>
<label for="passphrase">Passphrase of the shop</label>
<input id="passphrase" name="passphrase" type="password" autocomplete="current-password" required autofocus>
{fault}
<button>Come in</button>
</form></main></body></html>
"""
