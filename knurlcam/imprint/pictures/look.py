"""What the pictures of a knurl have in common: kinds of lines, margins, and what they are worth."""

from __future__ import annotations

from knurlcam.drawing.shapes import BLACK, BLUE, GREEN, ORANGE, VERMILLION, Stroke

__all__ = [
    "BLANK",
    "CAUTION",
    "CUT",
    "DIMENSION",
    "EDGE",
    "EXTENSION",
    "INLINE_WIDE",
    "PROFILE",
    "WINDOW_CLEAN",
    "WINDOW_CURVE",
    "WINDOW_HANDBOOK",
    "WINDOW_LIMIT",
    "WINDOW_PLANNED",
]

CAUTION = "A calculated estimate, not a measurement of a part."
"""Stands in every picture, for they look like photographs."""

INLINE_WIDE = 800.0
"""Width of a drawing that stands alone in a page [drawing units]"""

EDGE = 24.0
"""Free room about a drawing [drawing units]"""

PROFILE = Stroke("profile", BLACK, 2.5)
BLANK = Stroke("blank", BLUE, 2.0, (10.0, 6.0))
EXTENSION = Stroke("extension", VERMILLION, 1.5, (2.0, 3.0))
DIMENSION = Stroke("dimension", VERMILLION, 1.5)
CUT = Stroke("cut", GREEN, 2.5, (12.0, 4.0, 3.0, 4.0))
WINDOW_CURVE = Stroke("window-curve", BLACK, 2.5)
WINDOW_PLANNED = Stroke("window-planned", BLUE, 2.0, (10.0, 6.0))
WINDOW_HANDBOOK = Stroke("window-handbook", ORANGE, 4.0, (5.0, 2.0))
WINDOW_LIMIT = Stroke("window-limit", GREEN, 2.5, (12.0, 4.0, 3.0, 4.0))
WINDOW_CLEAN = Stroke("window-clean", VERMILLION, 1.5, (2.0, 3.0))
"""Kinds of lines. Scripts and the page's style may select them by these names."""
