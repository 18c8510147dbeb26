"""The rules of verification by code: severity, what is wrong, and what happens at the machine.

:mod:`knurlcam.verification.verify` and, for the text itself, :mod:`knurlcam.gcode.read` apply
them. The reason of a rule ends the sentence of each of its findings.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

__all__ = ["RULES", "Rule"]

Severity = Literal["error", "warning"]


class Rule(NamedTuple):
    """One rule.

    Attributes:
        severity: Of its findings.
        title: What is wrong, in a few words.
        reason: What happens at the machine, or may.
    """

    severity: Severity
    title: str
    reason: str


def _error(title: str, reason: str) -> Rule:
    return Rule("error", title, reason)


def _warning(title: str, reason: str) -> Rule:
    return Rule("warning", title, reason)


RULES: dict[str, Rule] = {
    # the text itself
    "unknown-word": _error(
        "a word that the dialect does not have", "the control stops, or does something else"
    ),
    "unreadable-character": _error(
        "an invisible character", "the control may read something else than people do"
    ),
    "contradictory-words": _error(
        "words that contradict each other", "the control picks one, or stops in the work"
    ),
    "misplaced-word": _error("a word in the wrong place", "controls interpret it differently"),
    "number-format": _error(
        "a number in a format that the dialect does not use",
        "the control may read a length a thousand times too large or too small",
    ),
    "comment-open": _error(
        "a comment that is not closed",
        "the control may take words for comment, or comment for words",
    ),
    "comment-nested": _error("a comment inside a comment", "controls differ in where it ends"),
    "comment-character": _error(
        "a character in a comment that a control may not pass over",
        "the control may end the program there, or take comment for words",
    ),
    "comment-obeyed": _error(
        "a comment that a control acts on", "it does what is not checked here"
    ),
    "line-too-long": _error(
        "a line longer than the control takes", "the control drops what is beyond its limit"
    ),
    "program-start-missing": _error(
        "the program's start is missing", "the control does not recognise the program"
    ),
    "program-end-missing": _error(
        "the program's end is missing", "a program cut short leaves the tool where it is"
    ),
    "program-too-long": _error(
        "the program has too many lines", "the lines beyond the limit are not checked"
    ),
    "after-the-end": _warning("blocks after the program end", "the control does not run them"),
    "numbering": _warning(
        "block numbers are out of order", "a search for a block may find another one"
    ),
    "own-word-not-shown": _warning(
        "a word of the shop's own without a comment that says what it is taken for",
        "the setter cannot look up whether the control does that",
    ),
    "number-not-given": _warning(
        "the program has a number that the job does not give",
        "on the control it replaces another program of that number",
    ),
    "other-job": _error(
        "the program was made for another job", "its blank, rolls and depth are the other job's"
    ),
    "other-measurements": _warning(
        "the program rests on other measured parts than the plan",
        "its blank and depth are those of another state of the shop's log",
    ),
    # where a section, a subprogram or blocks stand in a part program
    "section-not-closed": _error(
        "one of the comments by which a section is found is missing, or a subprogram's return",
        "what belongs to it is unknown, and it is not checked",
    ),
    "entered-shifted": _error(
        "a shift, another datum or the like is in force where the knurl begins",
        "every place and speed of the knurl may be another one",
    ),
    "entered-midway": _error(
        "a block of the part program leads into the middle of the knurl",
        "the rolls go on without their tool, offset, speed or coolant, or straight into the work",
    ),
    "entered-unknown": _warning(
        "what runs before the knurl is not all in the text",
        "a shift or another datum may be in force",
    ),
    # what is stated before the first motion
    "units-not-stated": _error(
        "units are not stated before the first motion",
        "the control may read inches for millimetres",
    ),
    "units-wrong": _error(
        "the units are not the job's", "every length is 25.4 times too large or too small"
    ),
    "distance-not-stated": _error(
        "absolute distances are not stated", "the control may take positions for increments"
    ),
    "distance-wrong": _error(
        "incremental distances are in force", "the slide goes to the wrong places"
    ),
    "x-mode-not-stated": _error(
        "diameter or radius is not stated before the first motion",
        "the control may take diameters for radii, and go in twice as deep",
    ),
    "x-mode-wrong": _error(
        "X words hold a radius for a diameter, or the other way round",
        "every X is twice or half of what it should be",
    ),
    "mode-not-stated": _error(
        "a word that the dialect states is missing before the first motion",
        "another plane, datum or mode that the control was left in changes where the tool goes",
    ),
    "feed-mode-not-stated": _error(
        "the feed mode is not stated",
        "the control may mix up feed per minute and feed per revolution",
    ),
    "feed-mode-wrong": _error(
        "the feed mode is wrong", "the slide moves far too slowly or too fast"
    ),
    "speed-mode-not-stated": _error(
        "the speed mode is not stated", "the spindle may change speed as X moves"
    ),
    "speed-mode-wrong": _error(
        "constant surface speed is in force", "the spindle changes speed as X moves"
    ),
    # rapids and what stands around
    "rapid-in-contact": _error(
        "a rapid while the rolls are in the work", "it tears the knurl and may bend the work"
    ),
    "rapid-through-work": _error(
        "a rapid into or through the work", "the rolls crash into the work"
    ),
    "rapid-through-chuck": _error(
        "a rapid into the chuck, or within the clearance of it", "the rolls crash into it"
    ),
    "rapid-through-centre": _error("a rapid into the centre", "the rolls crash into it"),
    "rapid-below-clearance": _error(
        "a rapid closer to the work than the clearance", "a blank left too large is hit"
    ),
    "rapid-through-shoulder": _error(
        "a rapid into a thicker step of the work, or along its face", "the rolls crash into it"
    ),
    "feed-into-shoulder": _error(
        "a feed move into a thicker step of the work", "the rolls are driven into it"
    ),
    "feed-into-chuck": _error("a feed move into the chuck", "the rolls are driven into it"),
    "feed-into-centre": _error("a feed move into the centre", "the rolls are driven into it"),
    "position-unknown": _error("a motion from an unknown position", "it may cross the work"),
    "outside-known-room": _error(
        "a motion beyond the space that the job describes",
        "the slide may hit something there, or the end of its travel",
    ),
    # contact
    "contact-entered-sideways": _error(
        "the rolls enter the work sideways", "they skid before they turn, and damage the edge"
    ),
    "contact-left-sideways": _error(
        "the rolls leave the work sideways", "they tear the end of the knurl"
    ),
    "slanted-in-contact": _error(
        "X and Z move together in the work", "the knurl comes out tapered"
    ),
    "not-following": _error(
        "the slide is off the path that compensates the deflection",
        "the knurl comes out deeper in one place than in another",
    ),
    "spindle-stopped": _error(
        "the spindle is stopped while the rolls are in the work",
        "the rolls press a flat, and the work bends",
    ),
    "spindle-reversed": _error(
        "the spindle turns the wrong way", "the rolls may push the work off its stop"
    ),
    "speed-not-stated": _error(
        "the spindle starts before its speed is stated",
        "it turns as fast as the last program left it",
    ),
    "speed-not-planned": _error(
        "the spindle speed is not as planned, or above it with the rolls clear",
        "dwells and feeds come out wrong; centre and chuck turn faster than they were chosen for",
    ),
    "speed-too-fast": _error(
        "the spindle is too fast",
        "it is above the limit for reversing the feed under load, or the machine's",
    ),
    "gear-not-planned": _error(
        "the gear range is not the job's", "the spindle does not reach its speed, or stalls"
    ),
    "surface-speed-in-contact": _error(
        "constant surface speed in contact", "the spindle changes speed as X moves"
    ),
    "feed-missing": _error(
        "a feed move without a feed", "the control stops, or moves at an earlier feed"
    ),
    "feed-at-standstill": _error(
        "a feed per revolution while the spindle stands",
        "the slide does not move until the spindle turns, and then at once",
    ),
    "feed-not-planned": _error("the feed is not as planned", "the knurl comes out uneven"),
    "feed-out-of-range": _error(
        "the feed is above half the face width", "each turn leaves a strip that is not rolled"
    ),
    "stated-too-late": _error(
        "coolant stated in the block that meets the work, or the spindle set with no motion before "
        "that block",
        "the rolls meet it while the spindle still changes speed, or dry",
    ),
    "no-coolant": _error(
        "contact without coolant", "rolls and work seize, and chips stay in the teeth"
    ),
    "too-deep": _error("deeper than the full depth", "the crests flake and the work bends"),
    "not-to-depth": _error("not as deep as planned", "the knurl stays shallow"),
    "step-too-deep": _error(
        "a step deeper than planned", "the rolls press harder on the work than planned"
    ),
    "past-the-line": _error(
        "the rolls go beyond the end of the knurl",
        "they mark what must stay plain, or hit the chuck",
    ),
    "short-of-the-line": _error(
        "the rolls stop short of the end of the knurl", "the knurl is not as wide as drawn"
    ),
    "too-much-overhang": _error(
        "the rolls overhang the end of the work too far", "they tilt and damage the edge"
    ),
    "return-short": _error(
        "a return pass that ends too early", "the end of the knurl is not rolled again"
    ),
    "off-the-end": _error(
        "the rolls run off the end of the work", "they come back in another track"
    ),
    "wrong-start": _error(
        "the first infeed is not where it should be", "the knurl begins in the wrong place"
    ),
    "pass-missing": _error("a pass is missing", "the knurl is not finished"),
    "extra-pass": _error("a pass too many", "the surface is worked harder than planned and flakes"),
    "reversal-missing": _error(
        "a reversal is missing", "the rolls do not run back and forth as planned"
    ),
    "track-left": _error(
        "the rolls leave the work between passes",
        "they come back in another track and print a double impression",
    ),
    "extra-contact": _error("the rolls touch the work again", "they print a second track"),
    "contact-not-left": _error(
        "the program ends with the rolls in the work", "the next motion tears the knurl"
    ),
    "dwell-missing": _error(
        "a dwell is missing", "part of the circumference is not rolled to depth"
    ),
    "dwell-short": _error(
        "a dwell is too short", "part of the circumference is not rolled to depth"
    ),
    "dwell-long": _warning(
        "a dwell much longer than planned", "the surface work-hardens and flakes"
    ),
    "dwell-too-long": _error(
        "a dwell more than ten times as long as planned",
        "the time seems to be in another unit, and the rolls work one place until it flakes",
    ),
    "long-dwell-in-air": _warning(
        "a dwell of more than a minute in air",
        "the time seems to be in another unit, and the machine waits",
    ),
    "dwell-on-the-way": _error(
        "a dwell in the middle of a traverse", "the rolls stand, and leave a ring there"
    ),
    "trial-missing": _error(
        "the trial strip is missing", "a double impression is seen only when it is too late"
    ),
    "trial-not-planned": _error(
        "the trial strip is not as planned", "it does not show how the knurl will print"
    ),
    "trial-stop-missing": _error(
        "no stop after the trial strip", "there is no chance to check for a double impression"
    ),
    # the part that the text leaves
    "doubles-on-part": _error(
        "the rolls print a double impression on this blank", "the knurl is scrap"
    ),
    "overfills-on-part": _error(
        "metal fills the teeth of the rolls and lifts them off",
        "they stall, break, or bend the work, and the crests flake",
    ),
    # leaving, tool, stops, end
    "z-before-x": _error(
        "Z moves before the rolls are out in X",
        "the tool may hit the work, the centre or the tailstock",
    ),
    "wrong-tool": _error(
        "a tool station that is not the job's is called or selected", "another tool hits the work"
    ),
    "wrong-offset": _error("the tool offset is not the job's", "the tool is not where it was set"),
    "moves-without-offset": _error(
        "an axis moves after the tool offset is cancelled",
        "the control applies no offset to X and Z, and the tool goes to the wrong place",
    ),
    "tool-change-near-work": _error(
        "tool or offset is called inside the safe position",
        "the turret turns, or the slide jumps, close to the work",
    ),
    "tool-not-called-again": _error(
        "tool and offset are not called again after a stop",
        "the turret may have been turned to measure or to look, and another tool goes in",
    ),
    "stop-in-contact": _error(
        "a stop while the rolls are in the work", "the rolls stand and press a flat"
    ),
    "stop-near-work": _error(
        "a stop closer to the work than the clearance", "there is no room for hands at the knurl"
    ),
    "stop-not-at-safe-position": _error(
        "a stop inside the safe position", "hands that reach in meet the rolls"
    ),
    "coolant-on-at-stop": _error(
        "the coolant runs at a stop", "it sprays the operator who opens the guard"
    ),
    "spindle-turning-at-stop": _error(
        "the spindle turns at a stop", "the operator may reach to the turning work"
    ),
    "speed-limit-low": _error(
        "the speed limit is below the planned speed", "the spindle turns slower than planned"
    ),
    "speed-limit-high": _error("the speed limit is above the machine's", "it gives no protection"),
    "speed-limit-missing": _warning("the speed limit is missing", "a wrong S word is not limited"),
    "spindle-on-at-end": _error(
        "the spindle still turns at the end", "the operator opens the door to turning work"
    ),
    "coolant-on-at-end": _error("the coolant still runs at the end", "it floods an idle machine"),
    "offset-on-at-end": _error(
        "the tool offset is still in force at the end", "the next tool moves with the wrong offset"
    ),
    "leaves-other-modes": _error(
        "other modes or another speed are left in force than stated before or promised",
        "what runs next moves, or starts the spindle, in a way that it does not expect",
    ),
    "not-at-safe-position": _error(
        "the program does not end at the safe position",
        "the next tool change or part may hit the work",
    ),
}
"""Every rule by its code; the codes are stable: scripts of shops ask for them."""
