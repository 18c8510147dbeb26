"""By what a program's own comments say which job it is of and in which form it is written.

The writer puts these first words in the header, and verification looks for them: a program
is held against the job that it was made for, and a section of a part program is found by them.
"""

from __future__ import annotations

from typing import Literal

__all__ = [
    "BLOCKS_END_MARK",
    "BLOCKS_MARK",
    "CONTINUED",
    "FORMS",
    "IDENTITY_MARK",
    "LEAVES_MARK",
    "MEASURED_MARK",
    "NAME_MARK",
    "SECTION_END_MARK",
    "SECTION_MARK",
    "SUBPROGRAM_MARK",
    "Form",
]

Form = Literal["program", "section", "subprogram", "blocks"]

FORMS: tuple[Form, ...] = ("program", "section", "subprogram", "blocks")
"""The forms of a text: stand-alone; a whole tool of a part program; called by a program; or
to paste into one that has called the tool."""

NAME_MARK = "KNURL "
"""First word of the comment with the part's name, which begins a header."""

IDENTITY_MARK = "JOB "
"""First word of the comment with the job's identity, its digits follow."""

MEASURED_MARK = "MEASURED "
"""First word of the comment with the measured parts that the plan rests on; their count and shares
follow. A plan that rests on none has no such comment."""

SUBPROGRAM_MARK = "SUBPROGRAM"
"""First word of the comment in a subprogram's header; a program has no such comment."""

BLOCKS_MARK = "BLOCKS TO PASTE"
"""First words of the comment in the header of blocks to paste."""

LEAVES_MARK = "LEAVES"
"""First word of the comment that says which modes and which speed a subprogram, or blocks to
paste, leave in force: their words follow."""

# No sentence of a header begins as these do, whatever the part is called: its name follows
# NAME_MARK. None is longer than the shortest comment that a dialect may have: it is not wrapped.
SECTION_MARK = "KNURLING SECTION"
"""The comment that begins a section, and by which it is found in a part program."""

SECTION_END_MARK = "END KNURLING SECTION"
"""The comment that ends a section."""

BLOCKS_END_MARK = "END BLOCKS TO PASTE"
"""The comment that ends blocks to paste."""

CONTINUED = "- "
"""What a comment that was wrapped goes on with: a long part name must not begin a comment
with one of the marks above and be taken for it."""
