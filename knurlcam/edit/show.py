"""An answer as data for the page's script."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from markupsafe import Markup

from knurlcam.edit.answer import Answer
from knurlcam.review.views.frame import View

__all__ = ["shown"]


def shown(got: Answer) -> dict[str, Any]:
    """Return an answer as JSON has it; the picture as one SVG."""
    return {
        "verdict": got.verdict,
        "says": got.says,
        "problems": [asdict(problem) for problem in got.problems],
        "facts": got.facts,
        "strip": got.strip,
        "recommended": dict(got.recommended or {}),
        "passes": got.passes,
        "svg": "" if got.view is None else _svg(got.view),
        "text": got.text,
    }


def _svg(view: View) -> str:
    """Return a picture; every word in it is escaped."""
    shapes = Markup("").join(
        Markup("<{}{}>{}</{}>").format(
            shape.tag, _attributes(shape.attributes), shape.text, shape.tag
        )
        for shape in view.still
    )
    label = f"{view.title}. {view.description}"
    return Markup('<svg viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>').format(
        view.frame.width, view.frame.height, label, shapes
    )


def _attributes(attributes: Any) -> Markup:
    return Markup("").join(
        Markup(' {}="{}"').format(name, value)
        for name, value in attributes.items()
        if value is not None
    )
