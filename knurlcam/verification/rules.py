"""The rules of verification by code: what each means, how grave it is and why it matters.

:mod:`knurlcam.verification.verify` and, for the text itself, :mod:`knurlcam.gcode.read` apply them.
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
        reason: Why it matters.
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
        "a word that the dialect does not have", "nobody knows what the control makes of it"
    ),
    "unreadable-character": _error(
        "a character that cannot be seen", "people and control may read different programs"
    ),
    "contradictory-words": _error(
        "words that contradict each other", "the control picks one, or stops in the work"
    ),
    "misplaced-word": _error(
        "a word where it cannot stand", "controls differ in what they make of it"
    ),
    "number-format": _error(
        "a number the dialect does not write so", "a length may be taken a thousand times off"
    ),
    "comment-open": _error(
        "a comment that is not closed", "what follows may be taken for comment or for words"
    ),
    "comment-nested": _error("a comment inside a comment", "controls differ in where it ends"),
    "line-too-long": _error("a line longer than the control takes", "what is cut off is lost"),
    "program-start-missing": _error(
        "the program's start is missing", "the control does not know it for a program"
    ),
    "program-end-missing": _error(
        "the program's end is missing", "a text cut short leaves the tool where it is"
    ),
    "program-too-long": _error(
        "a program of more lines than are read", "what stands behind them nobody has looked at"
    ),
    "after-the-end": _warning("something stands after the program end", "it is not run"),
    "numbering": _warning(
        "block numbers are out of order", "a search for a block may find another"
    ),
    "other-job": _error(
        "the program was made for another job", "blank, rolls and depth would not belong to it"
    ),
    # what is stated before the first motion
    "units-not-stated": _error(
        "units are not stated before the first motion", "inches may be taken for millimetres"
    ),
    "units-wrong": _error("the units are not the job's", "every length is 25.4 times off"),
    "distance-not-stated": _error(
        "distances are not stated as absolute", "they may be taken for increments"
    ),
    "distance-wrong": _error("distances are taken for increments", "the tool goes anywhere"),
    "feed-mode-not-stated": _error(
        "the feed mode is not stated", "a feed a minute may be taken for a feed a turn"
    ),
    "feed-mode-wrong": _error("the feed mode is wrong", "the slide creeps or runs away"),
    "speed-mode-not-stated": _error(
        "the speed mode is not stated", "the spindle may follow the diameter"
    ),
    "speed-mode-wrong": _error("the speed mode is wrong", "the spindle follows the diameter"),
    # rapids and what stands around
    "rapid-in-contact": _error(
        "a rapid while the rolls are in the work", "it tears the knurl and may bend the work"
    ),
    "rapid-through-work": _error("a rapid into or through the work", "a crash"),
    "rapid-through-chuck": _error("a rapid into the chuck", "a crash"),
    "rapid-through-centre": _error("a rapid into the centre", "a crash"),
    "rapid-below-clearance": _error(
        "a rapid closer to the work than the clearance", "a blank left too large would be hit"
    ),
    "rapid-through-shoulder": _error("a rapid into a thicker step of the work", "a crash"),
    "feed-into-shoulder": _error("a feed into a thicker step of the work", "a crash"),
    "feed-into-chuck": _error("a feed into the chuck", "a crash"),
    "feed-into-centre": _error("a feed into the centre", "a crash"),
    "position-unknown": _error(
        "a motion from a place the program does not know", "it may cross the work"
    ),
    "outside-known-room": _error(
        "a motion to where the job knows of no room",
        "whatever stands there is hit, or the slide runs to its end",
    ),
    # contact
    "contact-entered-sideways": _error(
        "the rolls meet the work sideways", "they skid before they turn and wreck the edge"
    ),
    "contact-left-sideways": _error(
        "the rolls leave the work sideways", "they tear the end of the knurl"
    ),
    "slanted-in-contact": _error("the rolls move along and in at once", "the knurl tapers"),
    "not-following": _error(
        "the slide leaves the line that follows the work",
        "the knurl comes out deeper in one place than in another",
    ),
    "spindle-stopped": _error(
        "the spindle stands while the rolls are in the work", "a flat is pressed, the work bends"
    ),
    "spindle-reversed": _error(
        "the spindle turns the wrong way", "the work is pushed off its stop"
    ),
    "speed-not-stated": _error(
        "the spindle starts before its speed is stated",
        "it turns as fast as the last program left it",
    ),
    "speed-not-planned": _error(
        "the spindle speed is not as planned", "dwells and feeds come out wrong"
    ),
    "speed-too-fast": _error(
        "the spindle is too fast", "the feed reverses under load, or the machine is overrun"
    ),
    "surface-speed-in-contact": _error(
        "constant surface speed in contact", "the spindle changes speed in the work"
    ),
    "feed-missing": _error(
        "a feed move without a feed", "the control stops, or moves at an old feed"
    ),
    "feed-not-planned": _error("the feed is not as planned", "the knurl comes out uneven"),
    "feed-out-of-range": _error(
        "the feed is above half the face width", "each turn leaves unrolled work behind"
    ),
    "no-coolant": _error(
        "contact without coolant", "rolls and work seize, chips stay in the teeth"
    ),
    "too-deep": _error("deeper than full depth", "the crests flake and the work bends"),
    "not-to-depth": _error("not as deep as planned", "the knurl stays shallow"),
    "step-too-deep": _error(
        "a step deeper than planned", "the push is higher than the work was planned for"
    ),
    "past-the-line": _error(
        "past the line", "the rolls mark what must stay plain, or meet the chuck"
    ),
    "short-of-the-line": _error("short of the line", "the knurl is not as wide as drawn"),
    "too-much-overhang": _error(
        "too much of the rolls over the end", "they tilt and wreck the edge"
    ),
    "return-short": _error(
        "a return that ends too early", "the end of the knurl is not rolled again"
    ),
    "off-the-end": _error("the rolls run off the end", "they come back in another track"),
    "wrong-start": _error(
        "the first infeed is not where it should be", "the entry is not as planned"
    ),
    "pass-missing": _error("a pass is missing", "the knurl is not finished"),
    "extra-pass": _error("a pass too many", "the surface is worked harder than planned and flakes"),
    "reversal-missing": _error("a reversal is missing", "the passes do not follow each other"),
    "track-left": _error(
        "the rolls leave the work between passes",
        "they come back in another track: double impression",
    ),
    "extra-contact": _error("the rolls touch the work once more", "they print a second track"),
    "contact-not-left": _error(
        "the program ends with the rolls in the work", "the next motion tears it"
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
    "trial-missing": _error(
        "the trial strip is missing", "a double impression would be seen too late"
    ),
    "trial-not-planned": _error(
        "the trial strip is not as planned", "it shows another print than the knurl's"
    ),
    "trial-stop-missing": _error("no stop after the trial strip", "nobody can look at it"),
    # leaving, tool, stops, end
    "z-before-x": _error(
        "along before out", "the tool crosses the work, the centre or the tailstock"
    ),
    "wrong-tool": _error("not the job's tool station", "another tool meets the work"),
    "wrong-offset": _error(
        "not the job's tool offset", "the tool stands elsewhere than it was set"
    ),
    "tool-change-near-work": _error(
        "tool or offset changes inside safe X", "the turret turns, or the slide jumps, by the work"
    ),
    "stop-in-contact": _error(
        "a stop while the rolls are in the work", "the rolls press one place"
    ),
    "spindle-turning-at-stop": _error(
        "the spindle turns at a stop", "hands go where the work turns"
    ),
    "speed-limit-low": _error(
        "the speed limit is below the planned speed", "the spindle turns slower than planned"
    ),
    "speed-limit-high": _error("the speed limit is above the machine's", "it protects nothing"),
    "speed-limit-missing": _warning(
        "the speed limit is missing", "a wrong S word is not held back"
    ),
    "spindle-on-at-end": _error(
        "the spindle still turns at the end", "the operator opens the door to it"
    ),
    "coolant-on-at-end": _error(
        "the coolant still runs at the end", "it runs on over an idle machine"
    ),
    "offset-on-at-end": _error(
        "the tool offset is still in force at the end", "the next tool moves with it"
    ),
    "not-at-safe-position": _error(
        "the program does not end at the safe position",
        "the next tool change or part meets the work",
    ),
}
"""Every rule by its code; the codes are stable."""
