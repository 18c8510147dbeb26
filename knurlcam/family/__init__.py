"""Families: one proven program for each row of a table."""

from knurlcam.family.make import Base, Problem, Result, make_family
from knurlcam.family.rows import Row, read_rows

__all__ = ["Base", "Problem", "Result", "Row", "make_family", "read_rows"]
