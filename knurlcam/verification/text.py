"""The rules of the text itself: its frame (start, number, end), and the job that it names."""

from __future__ import annotations

import re

from knurlcam.gcode.marks import (
    BLOCKS_MARK,
    IDENTITY_MARK,
    MEASURED_MARK,
    SECTION_MARK,
    SUBPROGRAM_MARK,
    Form,
)
from knurlcam.gcode.motion import Block, End, Motion
from knurlcam.gcode.standard_codes import shortest
from knurlcam.job.identity import with_check_digits
from knurlcam.job.model import Job
from knurlcam.verification.report import Report

__all__ = ["check_text", "first_block", "form_of", "last_block"]

_IDENTITY = re.compile(rf"\s*{IDENTITY_MARK}([0-9A-F]{{12}})\s*")


def form_of(motion: Motion) -> Form:
    """Take a text's form from its own comment; anything doubtful is a program.

    A program has the strictest rules: it must start, end, call its tool and leave nothing on.
    """
    for comment in motion.comments:
        text = comment.strip()
        if text == SECTION_MARK:
            return "section"
        if text.startswith(SUBPROGRAM_MARK):
            return "subprogram"
        if text.startswith(BLOCKS_MARK):
            return "blocks"
    return "program"


def last_block(motion: Motion) -> Block:
    """Return the block at which what is missing is missed; an empty text has line 1."""
    return motion.blocks[-1] if motion.blocks else Block(1, None, (), None, False, "")


def check_text(motion: Motion, job: Job, form: Form, report: Report) -> None:
    """Check what stands beside the motion.

    Args:
        motion: What was read from the text, with its problems.
        job: The job that it should carry out.
        form: What the text is.
        report: Takes the findings.
    """
    for problem in motion.problems:
        report.add_problem(problem)
    if form in ("blocks", "section"):
        _check_is_part(motion, form, report)
    else:
        _check_start(motion, job, form, report)
        _check_number(motion, job, report)
        _check_closing(motion, form, report)
    _check_identity(motion, job, report)
    _check_measured(motion, job, report)
    if motion.dialect.own_words:
        _check_own_words_are_shown(motion, report)


def _check_is_part(motion: Motion, form: Form, report: Report) -> None:
    """What stands in the middle of another program neither starts nor ends one."""
    last, what = last_block(motion), "a section" if form == "section" else "blocks to paste"
    if motion.starts:
        start = motion.blocks[motion.leader]
        report.say("misplaced-word", start, f"{what} must not start a program")
    if motion.dialect.end and motion.closed:
        report.say("misplaced-word", last, f"{what} must not end a program")
    for event in motion.events:
        if type(event) is End:
            report.say("misplaced-word", event.block, f"{what} must not end a program")


def _is_keyed_in(motion: Motion) -> bool:
    """Whether the tape marks may be missing: both are, and a word ends the program."""
    return motion.unframed and any(type(event) is End for event in motion.events)


def first_block(motion: Motion) -> Block:
    """Return the block at which what is missing before it is missed."""
    return motion.blocks[0] if motion.blocks else last_block(motion)


def _check_start(motion: Motion, job: Job, form: Form, report: Report) -> None:
    dialect, called = motion.dialect, form == "subprogram"
    start = dialect.start_marks(subprogram=called)
    if motion.starts + _is_keyed_in(motion) < len(start):
        wanted = " and ".join(dialect.start_lines(job.part.number, subprogram=called))
        report.say(
            "program-start-missing",
            first_block(motion),
            f"the text does not begin with {wanted}",
        )


def _check_number(motion: Motion, job: Job, report: Report) -> None:
    number, given = job.part.number, "number" in job.part.model_fields_set
    if motion.number is None or (motion.number == number and given):
        return
    starts = motion.blocks[motion.leader : motion.leader + motion.starts]
    holder = next((b for b in starts if re.search(r"\d", b.text)), first_block(motion))
    if motion.number == number:
        report.say(
            "number-not-given",
            holder,
            f"the program's number is {number}, and part.number is not given",
        )
    else:
        report.say(
            "other-job", holder, f"the program's number is {motion.number}, the job's is {number}"
        )


def _check_closing(motion: Motion, form: Form, report: Report) -> None:
    dialect, returns = motion.dialect, form == "subprogram"
    code = dialect.codes.subprogram_return if returns else dialect.codes.program_end
    if not any(type(e) is End and e.returns == returns for e in reversed(motion.events)):
        report.say("program-end-missing", last_block(motion), f"the text has no {code}")
    elif not motion.closed and not _is_keyed_in(motion):
        wanted = " and ".join(dialect.end)
        report.say(
            "program-end-missing", last_block(motion), f"the text does not end with {wanted}"
        )


def _check_identity(motion: Motion, job: Job, report: Report) -> None:
    for block in motion.blocks:
        comment = block.comment
        if not comment or IDENTITY_MARK not in comment:
            continue
        match = _IDENTITY.fullmatch(comment)
        if match is None or match[1] == job.identity:
            continue
        # A typing error in the comment fails the check digits: it does not make another job.
        if match[1] == with_check_digits(match[1][:10]):
            report.say(
                "other-job", block, f"its comment names job {match[1]}, this job is {job.identity}"
            )


def _check_measured(motion: Motion, job: Job, report: Report) -> None:
    """Say that a program rests on other measured parts than the plan that it is held against.

    Its blank and depth then differ from the plan's, and other findings would be a riddle.
    """
    here = "" if job.calibration is None or not job.calibration.parts else job.calibration.mark
    holder, there = _comment_with(motion, MEASURED_MARK)
    named, _ = _comment_with(motion, IDENTITY_MARK)
    # A text that does not say which job it carries out may come from anywhere. What a dialect has
    # no room for is not there.
    if (named is None and holder is None) or (there and here.upper().startswith(there.upper())):
        return
    if not there and not here:
        return
    report.say(
        "other-measurements",
        holder or named or first_block(motion),
        f"the program was made with {_measured_words(there)}, and is checked against a plan with "
        f"{_measured_words(here)}: make it again, or check it {_ways_to_check(there)}",
    )


def _comment_with(motion: Motion, mark: str) -> tuple[Block | None, str]:
    """Return the first block whose comment begins with a mark, and what follows it there."""
    for block in motion.blocks:
        comment = (block.comment or "").strip()
        if comment.startswith(mark):
            return block, comment.removeprefix(mark).strip()
    return None, ""


def _measured_words(mark: str) -> str:
    return f"measured parts ({mark.lower()})" if mark else "no measured parts"


def _ways_to_check(there: str) -> str:
    return "with the log of that day (--log)" if there else "with --no-measured"


def _check_own_words_are_shown(motion: Motion, report: Report) -> None:
    """Check that a comment says of each word that the shop vouches for what it is taken for.

    A template may come from a stranger, and its words are judged as its own traits say.
    """
    said = " ".join(comment.upper() for comment in motion.comments)
    for code in motion.dialect.own_words:
        block = next((b for b in motion.blocks if _holds(b, shortest(code))), None)
        if block is not None and not re.search(rf"\b{code} IS ", said):
            report.say("own-word-not-shown", block, f"{code} has no comment that says what it does")


def _holds(block: Block, code: str) -> bool:
    return any(w.letter == "M" and w.text.lstrip("0") == code[1:] for w in block.words)
