"""Edits of good programs: what matters is found, what does not matter is not.

Whether an edit matters is decided by an interpreter (:mod:`tests.support.naive`,
:mod:`tests.long.mutants.trace`) that shares nothing with the package's reader and checker but the
plan's figures, among them the formula of work that gives way. What it sees is compared with
what it sees in the good program (:mod:`tests.long.mutants.compare`).

``python -m tests.long.mutants`` tries every kind of edit in every program and prints what came of
it.
"""
