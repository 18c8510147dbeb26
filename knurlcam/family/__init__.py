"""Families: one verified program for each row of a table."""

from knurlcam.family.base import Base
from knurlcam.family.cells import Row
from knurlcam.family.entry import Problem
from knurlcam.family.folder import FamilyFolder, Summary
from knurlcam.family.make import make_family
from knurlcam.family.result import Result
from knurlcam.family.rows import read_rows
from knurlcam.family.run import run_family, save_family
from knurlcam.family.table_check import count_rows

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
