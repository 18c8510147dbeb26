"""Families: one proven program for each row of a table."""

from knurlcam.family.folder import FamilyFolder, Summary
from knurlcam.family.make import Base, Problem, Result, make_family
from knurlcam.family.rows import Row, read_rows
from knurlcam.family.run import count_rows, run_family, save_family

__all__ = [
    "Base",
    "FamilyFolder",
    "Problem",
    "Result",
    "Row",
    "Summary",
    "count_rows",
    "make_family",
    "read_rows",
    "run_family",
    "save_family",
]
